"""Forms of conditions, and what a slip of the pen could make of each of their parts."""

import ast
from collections.abc import Callable, Iterator, Mapping
from copy import deepcopy
from decimal import Decimal

from qa_engine.facts.fact import Fact

_Swaps = Mapping[type[ast.AST], Callable[[], ast.AST]]

_CONTRARY: _Swaps = {
    ast.Lt: ast.Gt,
    ast.LtE: ast.GtE,
    ast.Gt: ast.Lt,
    ast.GtE: ast.LtE,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
_BY_A_HAIR: _Swaps = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt}
_OTHER_SIGN: _Swaps = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}

OTHER_WORDS = ("another word", "a third word")
"""Stand for words that a rule does not write, where the words of a fact are free."""

Slip = tuple[ast.expr, ast.expr]
"""A part of a form, and what stands in its place."""


def form_of(text: str) -> ast.expr:
    """Return the form of a condition that has been checked; offsets are those of its text."""
    flat = text.replace("\n", " ")
    body = ast.parse(flat.strip(), mode="eval").body
    indent = len(flat) - len(flat.lstrip())
    for node in ast.walk(body) if indent else ():
        if isinstance(node, ast.expr):
            node.col_offset += indent
            node.end_col_offset = (node.end_col_offset or 0) + indent
    return body


def rewritten(form: ast.expr, part: ast.expr, other: ast.expr) -> str:
    """Return the text of a form in which a part is replaced by another."""
    return ast.unparse(deepcopy(form, {id(part): other}))


def parts(form: ast.expr) -> Iterator[ast.expr]:
    """Yield a form and what it is made of, down to names and numbers; not what only lists hold."""
    yield form
    inner: list[ast.expr] = []
    match form:
        case ast.BoolOp():
            inner = form.values
        case ast.UnaryOp():
            inner = [form.operand]
        case ast.BinOp():
            inner = [form.left, form.right]
        case ast.Compare():
            inner = [form.left, *form.comparators]
        case ast.Call() if not _is_recorded(form):
            inner = form.args
    for one in inner:
        yield from parts(one)


def clauses(form: ast.expr, facts: Mapping[str, Fact]) -> Iterator[tuple[ast.expr, Slip]]:
    """Yield everything that answers yes or no by itself, with what turns its answer round.

    That is a comparison, each link of a chained one, a yes-or-no fact, a question for evidence.
    """
    for part in parts(form):
        if isinstance(part, ast.Compare):
            several = links(part)
            for at, link in enumerate(several):
                turned = [_not(one) if at == place else one for place, one in enumerate(several)]
                whole = turned[0] if len(turned) == 1 else ast.BoolOp(ast.And(), turned)
                yield link, (part, whole)
        elif _is_answer(part, facts):
            yield part, (part, _not(part))


def links(compared: ast.Compare) -> list[ast.expr]:
    """Return the links of a chained comparison, each as a comparison of its own."""
    sides = [compared.left, *compared.comparators]
    found: list[ast.expr] = []
    for at, sign in enumerate(compared.ops):
        left, right = sides[at], sides[at + 1]
        link = ast.Compare(left, [sign], [right])
        link.col_offset, link.end_col_offset = left.col_offset, right.end_col_offset
        found.append(link)
    return found


def slips(form: ast.expr, facts: Mapping[str, Fact], text: str) -> Iterator[Slip]:
    """Yield every part of a form with each of the things that could be mistaken for it.

    Args:
        form: the form of a condition.
        facts: the facts of its subject, by name.
        text: as written.
    """
    words = quoted(form)
    denied = {id(part.operand) for part in parts(form) if isinstance(part, ast.UnaryOp)}
    for part in parts(form):
        match part:
            case ast.Compare():
                found = [*_compared(part), *_other_words(part, facts, words)]
            case ast.BoolOp():
                found = list(_joined(part))
            case ast.UnaryOp():
                found = [part.operand]
            case ast.BinOp():
                found = [ast.BinOp(part.left, _other(_OTHER_SIGN, part.op), part.right)]
                found += [part.left, part.right]
            case ast.Name() | ast.Call() if _is_answer(part, facts):
                found = [] if id(part) in denied else [_not(part)]
            case ast.Call():
                found = _called(part)
            case ast.Constant():
                found = list(_moved(part, text))
            case _:
                found = []
        yield from ((part, other) for other in found)


def last_digit(written: str) -> Decimal:
    """Return what one step of the last digit of a number comes to: 0.1 for 19.9, 1 for 20."""
    exponent = Decimal(written).as_tuple().exponent
    return Decimal(1).scaleb(exponent if isinstance(exponent, int) else 0)


def _not(part: ast.expr) -> ast.expr:
    return ast.UnaryOp(ast.Not(), part)


def _other(swaps: _Swaps, sign: ast.AST) -> ast.operator:
    return swaps[type(sign)]()  # type: ignore[return-value]


def _is_recorded(part: ast.expr) -> bool:
    return (
        isinstance(part, ast.Call)
        and isinstance(part.func, ast.Name)
        and (part.func.id == "recorded")
    )


def _is_answer(part: ast.expr, facts: Mapping[str, Fact]) -> bool:
    if isinstance(part, ast.Name):
        return part.id in facts and facts[part.id].type == "yes/no"
    return _is_recorded(part)


def _compared(part: ast.Compare) -> Iterator[ast.expr]:
    for swaps in (_BY_A_HAIR, _CONTRARY):
        for at, sign in enumerate(part.ops):
            if type(sign) in swaps:
                signs = [*part.ops[:at], swaps[type(sign)](), *part.ops[at + 1 :]]
                yield ast.Compare(part.left, signs, part.comparators)  # type: ignore[arg-type]
    several = links(part)
    for at in range(len(several)) if len(several) > 1 else ():
        rest = several[:at] + several[at + 1 :]
        yield rest[0] if len(rest) == 1 else ast.BoolOp(ast.And(), rest)
    for at, side in enumerate(part.comparators):
        if isinstance(side, ast.Tuple | ast.List) and len(side.elts) > 1:
            for left_out in side.elts:
                kept = ast.Tuple([one for one in side.elts if one is not left_out], ast.Load())
                others = [*part.comparators[:at], kept, *part.comparators[at + 1 :]]
                yield ast.Compare(part.left, part.ops, others)


def _other_words(
    part: ast.Compare, facts: Mapping[str, Fact], written: Mapping[str, Mapping[str, None]]
) -> Iterator[ast.expr]:
    """Yield a comparison with one of its quoted words exchanged for each other word there is."""
    names = [one.id for one in (part.left, *part.comparators) if isinstance(one, ast.Name)]
    fact = facts.get(names[0]) if names else None
    if fact is None or fact.type != "words":
        return
    for word in (one for one in ast.walk(part) if isinstance(one, ast.Constant)):
        for other in fact.words or [*written[fact.name], OTHER_WORDS[0]]:
            if other != word.value:
                yield deepcopy(part, {id(word): ast.Constant(other)})


def quoted(form: ast.expr) -> dict[str, dict[str, None]]:
    """Return the words that a form writes beside each fact, in order of appearance."""
    found: dict[str, dict[str, None]] = {}
    for part in parts(form):
        if isinstance(part, ast.Compare):
            written = [one.value for one in ast.walk(part) if isinstance(one, ast.Constant)]
            words = {word: None for word in written if isinstance(word, str)}
            for name in (one.id for one in ast.walk(part) if isinstance(one, ast.Name)):
                found.setdefault(name, {}).update(words)
    return found


def _joined(part: ast.BoolOp) -> Iterator[ast.expr]:
    yield ast.BoolOp(ast.Or() if isinstance(part.op, ast.And) else ast.And(), part.values)
    for left_out in part.values:
        rest = [one for one in part.values if one is not left_out]
        yield rest[0] if len(rest) == 1 else ast.BoolOp(part.op, rest)


def _called(part: ast.Call) -> list[ast.expr]:
    name = part.func.id if isinstance(part.func, ast.Name) else ""
    if name == "abs":
        return list(part.args)
    return [ast.Call(ast.Name("max" if name == "min" else "min"), part.args, [])]


def _moved(part: ast.Constant, text: str) -> Iterator[ast.expr]:
    if isinstance(part.value, str):
        return
    written = Decimal(text[part.col_offset : part.end_col_offset])
    step = last_digit(text[part.col_offset : part.end_col_offset])
    for moved in (written - step, written + step):
        yield ast.Constant(int(moved) if moved == int(moved) else float(moved))
