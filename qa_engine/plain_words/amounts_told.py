"""Numbers and words on the sides of comparisons, told in plain words."""

import ast
from collections.abc import Mapping
from dataclasses import dataclass

from qa_engine.conditions import Limit
from qa_engine.plain_words.quantities import quantity
from qa_engine.plain_words.things import named, noun

_DOING: dict[type[ast.operator], str] = {
    ast.Add: "plus",
    ast.Sub: "less",
    ast.Mult: "times",
    ast.Div: "divided by",
}
_LOOSE = (ast.Add, ast.Sub)


@dataclass(frozen=True)
class Amounts:
    """Tells what is compared; ``limits`` are those of the rule."""

    limits: Mapping[str, Limit]

    def told(self, node: ast.expr) -> str:
        """Return a side of a comparison in plain words."""
        match node:
            case ast.Name():
                return self._name(node.id)
            case ast.Constant(value=str(word)):
                return f"“{word}”"
            case ast.Constant(value=int() | float() as number):
                return f"{number}"
            case ast.UnaryOp():
                return f"minus {self.told(node.operand)}"
            case ast.BinOp():
                return self._reckoned(node)
            case ast.Call():
                return self._called(node)
        return ast.unparse(node)

    def is_fixed(self, node: ast.expr) -> bool:
        """Tell whether a side is a limit or a number, the same for all subjects."""
        names = [inner.id for inner in ast.walk(node) if isinstance(inner, ast.Name)]
        return all(name in self.limits for name in names)

    def is_zero(self, node: ast.expr) -> bool:
        """Tell whether a side is a limit or a number of nothing."""
        if isinstance(node, ast.Name):
            return node.id in self.limits and self.limits[node.id].values == 0
        return isinstance(node, ast.Constant) and node.value == 0

    def _name(self, name: str) -> str:
        limit = self.limits.get(name)
        if limit is None:
            return noun(name)
        return f"the {named(name)} for {noun(limit.by)}" if limit.by else quantity(limit.written)

    def _reckoned(self, node: ast.BinOp) -> str:
        left, right = self._part(node, node.left), self._part(node, node.right)
        if isinstance(node.op, ast.Mult) and left.endswith("%"):
            return f"{left} of {right}"
        return f"{left} {_DOING[type(node.op)]} {right}"

    def _part(self, whole: ast.BinOp, part: ast.expr) -> str:
        """Return a part of a sum or product, in brackets where it would be misread."""
        told = self.told(part)
        if not isinstance(part, ast.BinOp):
            return told
        tight = not isinstance(whole.op, _LOOSE) and isinstance(part.op, _LOOSE)
        after = part is whole.right and isinstance(whole.op, ast.Sub | ast.Div)
        return f"({told})" if tight or after else told

    def _called(self, node: ast.Call) -> str:
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        if name == "abs":
            inner = node.args[0]
            if isinstance(inner, ast.BinOp) and isinstance(inner.op, ast.Sub):
                left, right = self.told(inner.left), self.told(inner.right)
                return f"the difference between {left} and {right}"
            return f"the size of {self.told(inner)}"
        which = "least" if name == "min" else "greatest"
        return f"the {which} of {', '.join(map(self.told, node.args))}"
