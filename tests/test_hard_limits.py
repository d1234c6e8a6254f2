"""What is written to do harm, or grown beyond sense, is refused quickly and with a diagnostic."""

import importlib.util
import random
import sys
import time
import warnings
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.conditions import ConditionError, parse_condition
from qa_engine.conditions.grammar import DEEPEST, LONGEST, MOST_NODES, MOST_TOKENS
from qa_engine.errors import RuleSetError, nearest
from qa_engine.facts import ENGINE_FACTS
from qa_engine.facts.catalogue import Catalogue
from qa_engine.rulesets import check_examples, read_rule_sets
from qa_engine.rulesets.parts import LONGEST_TEXT, MOST_WORDS
from qa_engine.rulesets.schema import MOST_EXAMPLES, MOST_RULES
from qa_engine.yaml_tree import LARGEST_FILE, MOST_PROBLEMS, read_yaml
from qa_engine.yaml_tree.reading import LONGEST_TEXT as LONGEST_SCALAR
from qa_engine.yaml_tree.reading import MOST_KEYS, MOST_PARTS

BENCH = Path(__file__).parent / "bench"
CATALOGUE = Catalogue.of(ENGINE_FACTS)
FACTS = CATALOGUE.facts_of("reading")
QUICKLY_S = 5.0
"""Far above what refusing takes (0.3 s at most), so that a busy machine does not matter."""

HEAD = """\
rule_set: house
title: House
edition: 2026-01
in_force: {from: 2026-01-01}
owner: standards lead
rules:
"""
RULE = """\
  - rule: outlet-below
    title: Outlet below
    subject: reading
    requires: outlet_tds < most
    limits:
      most: {is: 20 mg/L, basis: made up}
    grading: minor
    says: Outlet water read {outlet_tds}.
    correction: Change the resin.
    examples:
      conforms: [{outlet_tds: 19.9 mg/L}]
      does_not_conform: [{outlet_tds: 20 mg/L}]
      undecided: [{}]
"""
WRONG = RULE.replace("outlet_tds < most", "outlet_tsd < mots")


def bench(name):
    """Return a module of the benchmarks, which are scripts and no package."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, BENCH / f"{name}.py")
        sys.modules[name] = module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
    return sys.modules[name]


def problems(text):
    """Return what is wrong with a rule file, which must be found out quickly."""
    begun = time.perf_counter()
    content = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(RuleSetError) as raised:
        read_rule_sets([("house.yaml", content)], CATALOGUE)
    assert time.perf_counter() - begun < QUICKLY_S
    assert len(str(raised.value)) < 100_000
    return raised.value.problems


def changed(old, new):
    assert old in RULE
    return HEAD + RULE.replace(old, new)


def many(form, count):
    return "".join(form.format(n) for n in range(count))


def test_the_rule_that_is_changed_here_is_sound_itself():
    editions = read_rule_sets([("house.yaml", (HEAD + RULE).encode())], CATALOGUE)
    assert not check_examples(editions, CATALOGUE)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (b"#" * (LARGEST_FILE + 1), f"the file has more than {LARGEST_FILE} bytes"),
        ("[" + "a," * MOST_PARTS + "]", f"the file has more than {MOST_PARTS} parts"),
        ("[" + "{a: b}," * MOST_PARTS + "]", f"the file has more than {MOST_PARTS} parts"),
        ("[" * 500, "nested more than 20 deep"),
        ("[" * 1_000_000, "this is not YAML: exceeded maximum nesting"),
        ("- " * 100_000, "nested more than 20 deep"),
        ("? " * 100_000, "nested more than 20 deep"),
        (many("k{}: v\n", MOST_KEYS + 1), f"a mapping with more than {MOST_KEYS} keys"),
        (changed("    title", many("    k{}: v\n", 50_000) + "    title"), "a mapping with more"),
        (changed("title: Outlet", "title: " + "x" * 900_000), "a text of 900006 characters"),
        (changed("title: Outlet below", "? " + "k" * 90_000 + "\n    : v"), "a text of 90000 ch"),
        (changed("Outlet water", "x" * LONGEST_SCALAR), "a text of"),
        (changed("Outlet water", "x" * LONGEST_TEXT), "'says': the text has"),
        (changed("conforms: [", "conforms: [" + "{outlet_tds: 1 mg/L}," * MOST_EXAMPLES),
         f"'conforms': there are {MOST_EXAMPLES + 1} entries"),
        (HEAD + "  - {}\n" * (MOST_RULES + 1), f"'rules': there are {MOST_RULES + 1} entries"),
        (changed("is: 20 mg/L", "by: grade, is: {" + many("w{}: 1 mg/L, ", MOST_WORDS + 1) + "}"),
         f"'is': there are {MOST_WORDS + 1} words"),
        (changed("outlet_tds < most", "outlet_tds < most" + " and outlet_tds < most" * 60),
         f"the condition has {17 + 60 * 22} characters"),
        (changed("Outlet below", "!!python/object/apply:os.system [x]"), "the tag 'tag:yaml.org"),
        (changed("Outlet below", "*title"), "the alias '*title' is not taken"),
        (changed("Outlet below", '"\\e[31mred"'), "the escaped character U+001B"),
        (changed("Outlet below", '"\\u202Ebackwards"'), "the escaped character U+202E"),
        (changed("Outlet below", '"\\0"'), "the escaped character U+0000"),
        (changed("Outlet below", '"\\ud800"'), "this is not YAML"),
        (changed("Outlet below", "\x1b[31mred"), "the character U+001B"),
        (changed("{outlet_tds}", "{outlet_tds.__class__}"), "'{outlet_tds.__class__}' is not a pl"),
        (changed("{outlet_tds}", "{outlet_tds!r:>999999999}"), "'{outlet_tds!r:>999999999}' is no"),
        (changed("{outlet_tds}", "{0.__init__.__globals__}"), "'{0.__init__.__globals__}' is not"),
    ],
)  # fmt: skip
def test_hostile_files_are_refused_with_a_diagnostic(text, said):
    assert any(problem.message.startswith(said) for problem in problems(text))


@pytest.mark.parametrize(
    "text",
    [
        "[" + "*a," * 200_000 + "]",
        "[" + ",".join(f"&a{n} x" for n in range(90_000)) + "]",
        "{" + "a: b," * 150_000 + "}",
        HEAD + "  - {}\n" * MOST_RULES,
        HEAD + RULE.replace("{outlet_tds}", "{x}" * 600),
        HEAD + "".join(WRONG.replace("outlet-below", f"r{n}") for n in range(500)),
    ],
)  # fmt: skip
def test_after_a_hundred_problems_the_rest_is_not_looked_at(text):
    found = problems(text)
    assert len(found) == MOST_PROBLEMS + 1
    assert sum("the rest was not looked at" in problem.message for problem in found) == 1


def test_examples_are_not_complained_of_without_end_either():
    lots = "[" + ",".join(["{outlet_tds: 30 mg/L}"] * 99) + "]"
    text = HEAD + "".join(
        RULE.replace("outlet-below", f"r{n}").replace("[{outlet_tds: 19.9 mg/L}]", lots)
        for n in range(5)
    )
    editions = read_rule_sets([("house.yaml", text.encode())], CATALOGUE)
    assert len(check_examples(editions, CATALOGUE)) == MOST_PROBLEMS + 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("outlet_tds < 1" + " " * LONGEST, f"the condition has {LONGEST + 14} characters"),
        ("-" * (MOST_TOKENS + 1), f"the condition has {MOST_TOKENS + 1} parts"),
        ("(" * (DEEPEST + 1), f"brackets are nested more than {DEEPEST} deep"),
        ("not " * (DEEPEST + 1) + "softening_bed", "the condition is too involved"),
        ("-" * 60 + "charge_age < 1", "the condition is too involved"),
        ("charge_age in (" + "1," * (MOST_NODES // 2) + ")", "the condition has"),
        ("charge_age" + "+charge_age" * 80 + " < 1", "the condition is too involved"),
        ("charge_age < 9**9**9", "'9**9**9' is not part of"),
        ("charge_age < " + "9" * 500, "'" + "9" * 500 + "' is not a number that can be used"),
        ("().__class__", "'.' is not part of conditions"),
        ("eval('1')", "'eval' is not a function here"),
        ("__import__('os')", "'__import__' is not a function here"),
        ("[x for x in (1)]", "'[x for x in (1)]' is not part of conditions"),
        ("(lambda: 1)()", "':' is not part of conditions"),
        ('f"{outlet_tds}"', "a quoted word cannot stand here"),
        ("sampled * 999999999 == sampled", "'sampled' is a fact of words; '*' takes numbers"),
    ],
)
def test_hostile_conditions_are_refused_with_a_diagnostic(text, said):
    begun = time.perf_counter()
    with pytest.raises(ConditionError) as raised:
        parse_condition(text, FACTS, {})
    assert time.perf_counter() - begun < QUICKLY_S
    assert any(fault.message.startswith(said) for fault in raised.value.faults), str(raised.value)


def test_what_is_quoted_in_a_message_cannot_pass_for_a_further_message():
    text = changed("minor", '"minor\n\n        house.yaml:1:1: all is well\n\n"')
    (problem,) = problems(text)
    assert str(problem).count("\n") == 3  # its excerpt and its help


def test_a_name_too_long_to_be_one_is_compared_with_none():
    begun = time.perf_counter()
    assert nearest("outlet_tdz" * 10_000, FACTS) == ""
    assert time.perf_counter() - begun < 0.1
    assert "outlet_tds" in nearest("outlet_tdz", FACTS)


def test_a_file_that_is_too_large_is_not_read_whole(tmp_path, monkeypatch):
    from qa_engine.cli.rule_files import rule_sources

    (tmp_path / "house.yaml").write_bytes(b"#" * (3 * LARGEST_FILE))
    ((_, content),) = rule_sources([tmp_path])(None)
    assert len(content) == LARGEST_FILE + 1
    assert read_yaml("house.yaml", content).problems[0].message.startswith("the file has more")


@settings(deadline=None, derandomize=True, max_examples=400)
@given(st.binary(max_size=300), st.booleans())
def test_no_bytes_raise_anything_but_the_engines_own_error(noise, within_a_rule):
    content = (HEAD + RULE).encode() + noise if within_a_rule else noise
    assert bench("trial").file_tried(content) in ("refused", "accepted")


@settings(deadline=None, derandomize=True, max_examples=400)
@given(st.integers(0, 2**32), st.sampled_from(["yaml_at_random", "file_changed"]))
def test_no_rule_file_raises_anything_but_the_engines_own_error(seed, maker):
    content = getattr(bench("hostile"), maker)(random.Random(seed))
    assert bench("trial").file_tried(content) in ("refused", "accepted")


@settings(deadline=None, derandomize=True, max_examples=600)
@given(st.integers(0, 2**32))
def test_no_condition_raises_anything_but_the_engines_own_error(seed):
    text = bench("hostile").condition_at_random(random.Random(seed))
    assert bench("trial").conditions_tried(text) in ("refused", "accepted")


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.text(max_size=120))
def test_no_text_taken_for_a_condition_raises_anything_but_the_engines_own_error(text):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert bench("trial").conditions_tried(text) in ("refused", "accepted")


def test_the_hostile_inputs_reach_what_is_sound_as_well():
    """A fuzzer whose every input falls at the first check would prove nothing."""
    hostile, trial = bench("hostile"), bench("trial")
    chance = random.Random(5)
    files = [trial.file_tried(hostile.file_changed(chance)) for _ in range(200)]
    conditions = [trial.conditions_tried(hostile.condition_at_random(chance)) for _ in range(400)]
    assert files.count("accepted") > 4
    assert conditions.count("accepted") > 20
