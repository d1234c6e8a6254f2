"""An explanation as plain text: what was decided and why, on what records, what would settle it."""

from collections.abc import Iterable, Iterator, Sequence
from textwrap import wrap
from zoneinfo import ZoneInfo

from qa_engine.conformity import CONFORMS, UNDECIDED
from qa_engine.explanation.finding import NAME_OF, Cited, Explained
from qa_engine.explanation.moments import before, moment
from qa_engine.explanation.sought import Sought, told
from qa_engine.explanation.tree import Part
from qa_engine.report.sentences import sentence_case
from qa_engine.wording import NOT_RECORDED

WIDTH = 100
WIDEST = 44
"""Longest condition that its values stand beside; those of longer ones stand below."""

SHOWN_DIGEST = 16
ANSWERS = {True: "yes", False: "no", None: "open"}
JOINED = {"and": "all of these", "or": "one of these", "not": "not this"}
OUTCOMES = {
    "conforms": "conforms",
    "does_not_conform": "does not conform",
    "undecided": "undecided",
    "pending": "pending",
    "not_applicable": "not applicable",
}


def explanation_text(explained: Explained, zone: ZoneInfo) -> str:
    """Return an explanation as text, times by the operator's clock."""
    parts = (
        _head(explained, zone),
        _reasons(explained),
        _facts(explained, zone),
        _limits(explained),
        _missing(explained),
        _settling(explained),
        _plugins(explained),
        _what_to_do(explained),
    )
    return "\n".join("\n".join(lines) + "\n" for part in parts if (lines := list(part)))


def _head(explained: Explained, zone: ZoneInfo) -> Iterator[str]:
    rule, subject, edition = explained.why.rule, explained.subject, explained.edition
    yield f"{explained.finding}: {OUTCOMES[explained.outcome]} ({rule.grading})"
    yield rule.title
    row = explained.finding_row
    if row:
        yield from wrap(row["message"], WIDTH)
    yield ""
    kind = sentence_case(rule.subject.replace("_", " "))
    when = f"{moment(subject['at'], zone)} ({zone.key})"
    yield from wrap(f"{kind} {subject['subject']}{_place(explained)}, {when}", WIDTH)
    days = f"in force from {edition.in_force_from}"
    days += f" until {edition.in_force_until}" if edition.in_force_until else ""
    yield f"Rule set {edition.rule_set}, edition {edition.edition}, {days}"
    line, column = edition.document.place_of(rule.path)
    digest = edition.sha256[:SHOWN_DIGEST]
    yield f"Written at {rule.source}:{line}:{column}, sha256 {digest}..."
    if row and row["since"] != row["until"]:
        first, last = moment(row["since"], zone), moment(row["until"], zone)
        yield f"The finding runs from {first} to {last}; its last member is explained here."


def _place(explained: Explained) -> str:
    subject, kind = explained.subject, explained.why.rule.subject
    named = (
        f"{name} {subject[name]}"
        for name in ("tank", "meter", "van", "base", "source")
        if subject.get(name) and name != kind
    )
    listed = ", ".join(named)
    return f" ({listed})" if listed else ""


def _reasons(explained: Explained) -> Iterator[str]:
    why = explained.why
    asked = [(why.requires, "Is it met?")]
    if why.applies:
        asked.insert(0, (why.applies, "Does the rule apply?"))
    width = min(WIDEST, max(len(line[1]) for part, _ in asked for line in _lines([part])))
    for part, question in asked:
        yield f"{question} {sentence_case(ANSWERS[part.holds])}"
        yield from _outline(_lines([part]), width)
    yield "  (> marks what the outcome rests on)"
    if explained.outcome == "pending":
        yield "What is not there yet may still follow: the time for it has not run out."
    elif why.applies and why.applies.holds is None and why.requires.holds is False:
        yield "It is not met, but whether the rule applies at all is open."


def _lines(parts: Sequence[Part], depth: int = 0) -> Iterator[tuple[str, str, str]]:
    """Yield mark with answer, condition and what it came to, a line per part."""
    for part in parts:
        mark = f"{'>' if part.decisive else ' '} {ANSWERS[part.holds]:<4}"
        indent = "  " * depth
        if not part.joined:
            says = part.compared.says if part.compared else ""
            yield mark, indent + " ".join(part.text.split()), says
            continue
        inner = depth
        if depth or part.joined != "and":
            yield mark, indent + f"{JOINED[part.joined]}:", ""
            inner = depth + 1
        yield from _lines(part.parts, inner)


def _outline(lines: Iterable[tuple[str, str, str]], width: int) -> Iterator[str]:
    for mark, text, says in lines:
        if len(text) > width:
            yield from _hanging(f"  {mark} ", text)
            text = ""
            mark = " " * len(mark)
        yield from _hanging(f"  {mark} {text:<{width}}  ", says)


def _hanging(head: str, text: str) -> Iterator[str]:
    """Yield a text beside its head, its further lines below its first one."""
    lines = wrap(text, max(30, WIDTH - len(head))) or [""]
    yield (head + lines[0]).rstrip()
    for line in lines[1:]:
        yield " " * len(head) + line


def _facts(explained: Explained, zone: ZoneInfo) -> Iterator[str]:
    if not explained.cited:
        return
    yield "On these facts"
    width = max(len(one.name) for one in explained.cited)
    for one in explained.cited:
        yield from _hanging(f"  {one.name:<{width}}  ", _fact(one, explained, zone))


def _fact(one: Cited, explained: Explained, zone: ZoneInfo) -> str:
    unit = one.fact.unit if one.fact else None
    value = NOT_RECORDED if one.value is None else told(one.value, unit)
    meaning = one.fact.meaning if one.fact else "no plugin that works knows it"
    if one.fact and one.fact.looks_at == (f"{explained.why.rule.subject}.{one.name}",):
        meaning = "as logged"
    if one.record is None:
        return f"{value} ({meaning})"
    where = f"record {one.record}"
    if one.at is not None and one.record != explained.subject["record"]:
        age = before(one.at, explained.subject["at"])
        where += f" of {moment(one.at, zone)}, {age}"
    return f"{value} ({meaning}), {where}"


def _limits(explained: Explained) -> Iterator[str]:
    limits = explained.why.rule.limits
    if not limits:
        return
    yield "Against these limits"
    width = max(map(len, limits))
    for name, limit in limits.items():
        number = limit.of_one(explained.why.known)
        value = "no value for it" if number is None else told(number, limit.unit.name)
        chosen = f" for {limit.by} {explained.why.known.get(limit.by)}" if limit.by else ""
        review = f"; to be reviewed by {limit.review_by}" if limit.review_by else ""
        basis = " ".join(limit.basis.split())
        yield from _hanging(f"  {name:<{width}}  ", f"{value}{chosen}, {basis}{review}")


def _missing(explained: Explained) -> Iterator[str]:
    if not explained.sought:
        return
    yield "What is missing"
    told_already: set[str] = set()
    for sought in explained.sought.values():
        yield from _sought(sought, 1, told_already)
    yield "  (- is lacking, + is there)"


def _sought(sought: Sought, depth: int, told_already: set[str]) -> Iterator[str]:
    mark = "-" if sought.lacking else "+"
    head = "  " * depth + f"{mark} "
    if sought.looked_for in told_already:
        yield from _hanging(head, f"{sought.looked_for}: as above")
        return
    told_already.add(sought.looked_for)
    found = f"{sought.found}; it is made of" if sought.inner else sought.found
    yield from _hanging(head, f"{sought.looked_for}: {found}")
    for inner in sorted(sought.inner, key=lambda one: not one.lacking):
        yield from _sought(inner, depth + 1, told_already)


def _settling(explained: Explained) -> Iterator[str]:
    """Yield what would settle an open verdict, or would have let the requirement be met."""
    if explained.outcome == "does_not_conform":
        for name, cases in explained.cases.items():
            good = [case.values for case in cases if case.outcome == CONFORMS]
            if good:
                yield from wrap(f"It would conform with {name} {' or '.join(good)}.", WIDTH)
    elif explained.outcome == "undecided":
        lines = [line for name in explained.cases for line in _case_lines(name, explained)]
        wanted = dict.fromkeys(w for s in explained.sought.values() for w in _wanted(s))
        if lines or wanted:
            yield "What would settle it"
            for line in (*wanted, *lines):
                yield from _hanging("  - ", line)


def _case_lines(name: str, explained: Explained) -> Iterator[str]:
    cases = explained.cases[name]
    if all(case.outcome == UNDECIDED for case in cases):
        if len(explained.cases) > 1:
            yield f"{name} alone would not: the others are needed too"
        return
    told = (f"{case.values}: {OUTCOMES[NAME_OF[case.outcome]]}" for case in cases)
    yield f"{name}, once known; {'; '.join(told)}"


def _wanted(sought: Sought) -> Iterator[str]:
    if sought.settled_by:
        yield sought.settled_by
    for inner in sought.inner:
        yield from _wanted(inner)


def _plugins(explained: Explained) -> Iterator[str]:
    for plugin in explained.failed:
        yield f"Plugin '{plugin.name}' {plugin.version} failed, and what it would tell is not known"
        yield from _hanging("  ", f"from {plugin.source}, sha256 {plugin.sha256 or 'unknown'}")
        yield from _hanging("  ", str(plugin.reason))
        for line in explained.traces.get(plugin.name, "").splitlines():
            yield f"    {line}"
    if explained.failed:
        count = explained.troubled
        rules = "1 rule in all needs" if count == 1 else f"{count} rules in all need"
        yield f"{rules} what failed plugins would have told; the others are judged as ever."
        yield "'qa-engine models list' loads the plugins and nothing else."


def _what_to_do(explained: Explained) -> Iterator[str]:
    rule, row = explained.why.rule, explained.finding_row
    if row is None:
        return
    if explained.outcome == "does_not_conform":
        yield from _hanging("What to do: ", rule.correction)
        if rule.caution:
            yield from _hanging("Caution: ", rule.caution)
    if row["permission"]:
        yield f"Under the permission {row['permission']}."
