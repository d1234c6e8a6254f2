"""The answers that a proposed map asks for, and the places where they are used.

An answer stands once, under ``answers`` at the top of the map; wherever it matters the map says
``{answer: its name}``.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from qa_engine.errors import nearest
from qa_engine.fields import shown
from qa_engine.intake.column_map.column_map import UNANSWERED, Question
from qa_engine.yaml_tree import Document, Path, Problem

ANSWER = "answer"


@dataclass
class Answers:
    """Puts answers where a map asks for them.

    Attributes:
        document: the map.
        problems: answers that are used and not there, or there and not used.
        open: the names of answers that are still missing.
        taken_from: where in the map the value at a path really stands.
    """

    document: Document
    problems: list[Problem] = field(default_factory=list)
    open: list[str] = field(default_factory=list)
    taken_from: dict[Path, Path] = field(default_factory=dict)
    _used: set[str] = field(default_factory=set)

    def put(self) -> Any:
        """Return the map's plain data with every answer in its place."""
        data = self.document.data
        if not isinstance(data, dict):
            return data
        written = data.get("answers")
        known = written if isinstance(written, dict) else {}
        filled = {
            key: part if key == "answers" else self._fill(part, (key,), known)
            for key, part in data.items()
        }
        for name in known:
            if known[name] == UNANSWERED:
                self.open.append(name)
            elif name not in self._used:
                self._say(("answers", name), f"the answer '{shown(name)}' is used nowhere")
        return filled

    def place(self, path: Path) -> Path:
        """Return where the value at a path stands: with the answers, if it is one."""
        for length in range(len(path), 0, -1):
            if path[:length] in self.taken_from:
                return self.taken_from[path[:length]]
        return path

    def questions(self) -> list[Question]:
        """Return a question for every missing answer, with the remark that stands above it."""
        return [self._question(name) for name in self.open]

    def _question(self, name: str) -> Question:
        line = self.document.place_of(("answers", name))[0]
        lines = self.document.text.splitlines()[: line - 1]
        remarks: list[str] = []
        while lines and lines[-1].strip().startswith("#"):
            remarks.insert(0, lines.pop().strip().lstrip("# "))
        return Question(name, " ".join(remarks), line=line)

    def _fill(self, part: Any, path: Path, known: Mapping[str, Any]) -> Any:
        if isinstance(part, list):
            return [self._fill(one, (*path, at), known) for at, one in enumerate(part)]
        if not isinstance(part, dict):
            return part
        if set(part) == {ANSWER}:
            return self._answer(part[ANSWER], path, known)
        return {key: self._fill(one, (*path, key), known) for key, one in part.items()}

    def _answer(self, name: Any, path: Path, known: Mapping[str, Any]) -> Any:
        if name not in known:
            hint = nearest(str(name), known) or "write it under 'answers' at the top"
            self._say(path, f"there is no answer '{shown(name)}'", hint)
            return None
        self._used.add(name)
        self.taken_from[path] = ("answers", name)
        return known[name]

    def _say(self, path: Path, message: str, help: str = "leave it out") -> None:
        self.problems.append(self.document.problem(path, message, help))
