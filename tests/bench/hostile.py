"""Hostile inputs, made from a source of chance: rule files and conditions nobody would write."""

import string
from importlib.resources import files
from random import Random

RULES = [path for path in files("qa_engine.rules").iterdir() if path.name.endswith(".yaml")]
HEAD = """\
rule_set: fuzzed
title: Fuzzed
edition: 2026-01
in_force: {from: 2026-01-01}
owner: nobody
rules:
"""
LARGEST = 60_000
"""Repetition stops here [bytes]; a file of 1 MiB is tried by name, not by chance."""

SNIPPETS = (
    *(
        "*a",
        "&a ",
        "<<: *a",
        "!!int 5",
        "!!python/object:os.system ",
        "---\n",
        "...\n",
        "%YAML 1.1\n",
    ),
    *(
        "? ",
        ": ",
        "- ",
        "[",
        "]",
        "{",
        "}",
        ",",
        "|",
        ">-",
        '"',
        "'",
        "#",
        "\t",
        "\n",
        "\r",
        "\x00",
    ),
    *("\x1b[31m", "\u202e", "\u2028", "\ufeff", "\ud7ff", "\U0001f4a7", '"\\e[0m"', '"\\u202e"'),
    *("~", "null", "no", "yes", "1:30", "010", "1e999", "-1e999", "nan", ".inf", "9" * 400),
    *("{{", "}}", "{outlet_tds}", "{a.b}", "{0!r:>99}", "{", "}", "%s", "${x}", "=cmd()"),
    *("20 mg/L", "20 kPa", "1e308 g/L", "-40 degF", "30 days", "1e300 d", "20 mg/L mg/L", "mg/L"),
    *("by: grade", "is: {a: 1 mg/L, b: 2 kPa}", "within: 2 d", "decision: {acceptance: guarded}"),
    *(
        "decision: {acceptance: guarded, confidence: 95 %}",
        "confidence: 1e9 %",
        "permission: never",
    ),
    *("affects: rinse", "settled_by: reading", "examples:", "limits:", "applies_if:", "requires:"),
    *("limits: [{a: 1}]", "limits: 3", "examples: []", "rules: {}", "says: [a]", "subject: tank"),
    *(
        "until: 2025-01-01",
        "from: 9999-12-31",
        "from: 0001-01-01",
        "until: 9999-12-31",
        "review_by: x",
    ),
)
TOKENS = (
    *("and", "or", "not", "in", "not in", "is", "if", "else", "lambda", "for", "await", "None"),
    *("True", "recorded", "abs", "min", "max", "eval", "__import__", "outlet_tds", "inlet_tds"),
    *(
        "water_temperature",
        "sampled",
        "grade",
        "softening_bed",
        "used_fraction",
        "charge_age",
        "limit",
    ),
    *(
        "per_grade",
        "warmest",
        "ratio",
        "(",
        ")",
        "[",
        "]",
        ",",
        "+",
        "-",
        "*",
        "/",
        "**",
        "//",
        "<",
    ),
    *(
        "<=",
        ">",
        ">=",
        "==",
        "!=",
        "=",
        ":=",
        ".",
        ":",
        "@",
        "%",
        "&",
        "|",
        "~",
        "^",
        "!",
        "#",
        "\\",
    ),
    *(
        '"flowing"',
        "'standing'",
        '"',
        "'",
        "f'x'",
        "b'x'",
        "0",
        "1",
        "20",
        "1e308",
        "1e999",
        "0x1f",
    ),
    *("1_000", "007", "1j", "9" * 80, ".5", "5.", "é", "\n", "\t", " ", "\x00", "\u202e"),
)
SOUND = (
    'sampled == "flowing" and not softening_bed',
    "outlet_tds < limit",
    "outlet_tds <= inlet_tds + limit * 2",
    "recorded ( inlet_tds ) or recorded ( outlet_tds )",
    "limit <= outlet_tds <= max ( inlet_tds , limit , per_grade )",
    "abs ( outlet_tds - inlet_tds ) / inlet_tds < ratio or water_temperature > warmest",
    'sampled in ( "flowing" , "standing" ) and outlet_tds / limit != 1',
    "not ( charge_age > 20 or used_fraction >= ratio ) and outlet_tds < per_grade",
)
PLAIN = tuple(token for token in TOKENS if token.isidentifier() or token in "()<><=>===+-*/,0 1 20")


def shipped_rules() -> list[str]:
    """Return the rules that ship, each as the lines it is written in."""
    rules = []
    for path in sorted(RULES, key=lambda one: one.name):
        _, _, body = path.read_text(encoding="utf-8").partition("\nrules:\n")
        rules += [f"  - rule:{rule}" for rule in body.split("  - rule:")[1:]]
    return rules


SHIPPED = shipped_rules()


def bytes_at_random(chance: Random) -> bytes:
    """Return bytes without sense, sometimes within an otherwise sound file."""
    noise = chance.randbytes(chance.randrange(200))
    return noise if chance.random() < 0.5 else HEAD.encode() + b"  - " + noise


def yaml_at_random(chance: Random) -> bytes:
    """Return marks, texts and blanks of YAML in any order."""
    words = [*SNIPPETS, *string.ascii_lowercase[:4], " ", "  ", "\n", "\n  ", "\n    "]
    text = "".join(chance.choices(words, k=chance.randrange(1, 80)))
    return encoded(text if chance.random() < 0.5 else HEAD + "  - " + text)


def file_changed(chance: Random) -> bytes:
    """Return one to three rules that ship, changed in some places."""
    text = HEAD + "".join(chance.choices(SHIPPED, k=chance.randrange(1, 4)))
    for _ in range(chance.randrange(1, 7)):
        text = chance.choice(CHANGES)(text, chance)[:LARGEST]
    return encoded(text)


def encoded(text: str) -> bytes:
    """Return a text as a file would hold it."""
    return text.encode("utf-8", "replace")


def _span(text: str, chance: Random) -> tuple[int, int]:
    start = chance.randrange(len(text) + 1)
    return start, min(len(text), start + int(chance.expovariate(1 / 12)))


def _without(text: str, chance: Random) -> str:
    start, end = _span(text, chance)
    return text[:start] + text[end:]


def _inserted(text: str, chance: Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(SNIPPETS) + text[at:]


def _repeated(text: str, chance: Random) -> str:
    start, end = _span(text, chance)
    return text[:end] + text[start:end] * min(LARGEST, int(chance.paretovariate(0.7))) + text[end:]


def _value_replaced(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at = chance.randrange(len(lines))
    head, mark, _ = lines[at].partition(": ")
    lines[at] = head + (mark or ": ") + chance.choice(SNIPPETS)
    return "\n".join(lines)


def _key_replaced(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at, other = chance.randrange(len(lines)), chance.choice(lines)
    blanks = len(lines[at]) - len(lines[at].lstrip())
    lines[at] = " " * blanks + other.strip().partition(":")[0] + ":" + lines[at].partition(":")[2]
    return "\n".join(lines)


def _line_added(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at = chance.randrange(len(lines) + 1)
    lines.insert(at, " " * chance.choice((0, 4, 6)) + chance.choice(SNIPPETS))
    return "\n".join(lines)


def _decision_added(text: str, chance: Random) -> str:
    sure = chance.choice(("95 %", "50 %", "0.5", "100 %", "49.9 %", "1e-300", "95 kPa"))
    decision = f"    decision: {{acceptance: guarded, confidence: {sure}}}\n    grading:"
    return text.replace("    grading:", decision, 1)


def _shifted(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at = chance.randrange(len(lines))
    lines[at] = " " * chance.randrange(9) + lines[at].strip()
    return "\n".join(lines)


def _lines_swapped(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[at], lines[other] = lines[other], lines[at]
    return "\n".join(lines)


def _condition_replaced(text: str, chance: Random) -> str:
    lines = text.split("\n")
    at = chance.randrange(len(lines))
    key = chance.choice(("applies_if", "requires"))
    lines[at] = f"    {key}: {condition_at_random(chance)}".replace("\n", " ")
    return "\n".join(lines)


def condition_at_random(chance: Random) -> str:
    """Return a condition of tokens in any order, nested deep, or very long."""
    kind = chance.random()
    if kind < 0.4:
        return condition_changed(chance)
    if kind < 0.5:
        return " ".join(chance.choices(TOKENS, k=chance.randrange(1, 40)))
    if kind < 0.7:
        return " ".join(chance.choices(PLAIN, k=chance.randrange(1, 60)))
    if kind < 0.8:
        return "".join(map(chr, chance.choices(range(1, 300), k=chance.randrange(1, 80))))
    inner = " ".join(chance.choices(PLAIN, k=3))
    opened, closed = chance.choice((("(", ")"), ("not ", ""), ("-", ""), ("abs(", ")"), ("[", "]")))
    depth = int(chance.paretovariate(0.5)) % 2000
    return opened * depth + inner + closed * depth


def condition_changed(chance: Random) -> str:
    """Return a sound condition with some of its tokens exchanged, doubled or left out."""
    tokens = chance.choice(SOUND).split()
    for _ in range(chance.randrange(4)):
        at = chance.randrange(len(tokens) + 1)
        taken = chance.choices((PLAIN, TOKENS, tokens or PLAIN), (5, 2, 5))[0]
        tokens[at : at + chance.randrange(2)] = chance.choices(taken, k=chance.randrange(1, 3))
    return " ".join(tokens)


CHANGES = (
    _without,
    _inserted,
    _repeated,
    _value_replaced,
    _key_replaced,
    _line_added,
    _decision_added,
    _shifted,
    _lines_swapped,
    _condition_replaced,
)
FILES = (bytes_at_random, yaml_at_random, file_changed, file_changed, file_changed)
