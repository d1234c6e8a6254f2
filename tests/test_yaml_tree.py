"""YAML is read as text with positions, and what could surprise is refused."""

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from qa_engine.yaml_tree import MapNode, TextNode, flatten, read_yaml, reading


def problems(text):
    return [(p.line, p.column, p.message) for p in read_yaml("f.yaml", text.encode()).problems]


def test_scalars_stay_as_written():
    document = read_yaml("f.yaml", b"a: no\nb: 1:30\nc: 010\nd: 1e3\ne: 2026-04-01\nf: '~'\n")
    wanted = {"a": "no", "b": "1:30", "c": "010", "d": "1e3", "e": "2026-04-01", "f": "~"}
    assert document.data == wanted
    assert not document.problems


def test_plain_nothing_is_missing_and_quoted_nothing_is_text():
    document = read_yaml("f.yaml", b"a:\nb: ~\nc: null\nd: ''\ne: \"null\"\n")
    assert document.data == {"a": None, "b": None, "c": None, "d": "", "e": "null"}


def test_every_value_and_key_has_its_place():
    document = read_yaml("f.yaml", "é: {b: [x, 'ü']}\r\nc: d\r\n".encode())
    assert document.place_of(("é", "b", 1)) == (1, 12)
    assert document.problem(("é", "b"), "m", key=True).column == 5
    assert document.place_of(("c",)) == (2, 4)


def test_a_problem_reads_like_a_compilers():
    document = read_yaml("rules/f.yaml", b"rules:\n  - grading: minr\n")
    problem = document.problem(("rules", 0, "grading"), "'minr' is not a grading", "did you mean")
    assert str(problem) == (
        "rules/f.yaml:2:14: 'minr' is not a grading\n"
        "    2 |   - grading: minr\n"
        "      |              ^^^^\n"
        "  help: did you mean"
    )


def test_a_missing_part_is_reported_at_what_should_hold_it():
    document = read_yaml("f.yaml", b"a: 1\nb:\n  - c: 2\n")
    assert document.place_of(("b", 0, "d")) == (3, 5)
    assert document.place_of(("z", 0)) == (1, 1)


@pytest.mark.parametrize(
    "text",
    [
        "says: speed < limit",
        "says: 'speed < limit'",
        'says: "speed < limit"',
        "says: >-\n  speed\n  < limit",
        "says: |\n  speed < limit",
        "says: speed\n  < limit",
    ],
)
def test_a_place_inside_a_text_is_followed_through_the_file(text):
    document = read_yaml("f.yaml", text.encode())
    at = document.problem_in(("says",), len("speed < "), "here")
    assert text.splitlines()[at.line - 1][at.column - 1 :].startswith("limit")


def test_a_place_behind_an_escape_falls_back_to_the_start():
    document = read_yaml("f.yaml", rb'says: "a \"b\" c"')
    assert document.problem_in(("says",), 6, "here").column == 7


def test_anchor_alias_tag_merge_key_and_duplicates_are_all_refused_at_once():
    text = "a: &x 1\nb: *x\nc: !!int 5\nd: {<<: *x, e: 1}\na: 2\n? [k]\n: v\nf: &y 3\n"
    assert problems(text) == [
        (2, 4, "the alias '*x' is not taken; its anchor stands on line 1"),
        (3, 4, "the tag 'tag:yaml.org,2002:int' is not taken"),
        (4, 5, "a merge key '<<' is not taken"),
        (5, 1, "the key 'a' is written twice in one mapping"),
        (6, 3, "a key must be a plain text"),
        (8, 4, "the anchor '&y' is not taken"),
    ]


def test_a_duplicate_key_shows_both_places_and_keeps_the_first():
    document = read_yaml("f.yaml", b"a: 1\nb: 2\na: 3\n")
    (problem,) = document.problems
    assert "    1 | a: 1" in problem.excerpt
    assert "    3 | a: 3" in problem.excerpt
    assert problem.help.startswith("first written at line 1, column 1")
    assert document.data == {"a": "1", "b": "2"}


def test_an_alias_of_a_text_is_read_on_and_an_alias_of_a_list_is_left_out():
    document = read_yaml("f.yaml", b"a: &x 20\nb: *x\nc: &l [1]\nd: *l\n")
    assert document.data == {"a": "20", "b": "20", "c": ["1"], "d": None}
    assert document.is_refused(("d", 0))
    assert not document.is_refused(("b",))


def test_a_mapping_with_a_merge_key_may_lack_keys():
    document = read_yaml("f.yaml", b"a: {b: 1}\nc: {<<: *a}\n")
    assert document.may_lack(("c",))
    assert not document.may_lack(("a",))


def test_ten_levels_of_aliases_cost_nothing():
    lines = [
        "a0: &a0 [x, x]",
        *(f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)),
    ]
    document = read_yaml("f.yaml", "\n".join(lines).encode())
    assert len(document.problems) == 9 * 9 + 1
    assert document.data["a9"] == [None] * 9


@pytest.mark.parametrize(
    ("text", "place"),
    [("[" * 21 + "]" * 21, (1, 21)), ("- " * 21 + "x", (1, 41))],
)
def test_too_deep_a_file_is_refused_where_it_gets_too_deep(text, place):
    ((*found, message),) = problems(text)
    assert tuple(found) == place
    assert message == "nested more than 20 deep"


def test_a_hundred_thousand_brackets_are_one_problem():
    assert len(problems("[" * 100_000)) == 1


def test_twenty_levels_are_taken():
    assert not problems("[" * 20 + "]" * 20)


def test_a_second_document_and_directives_are_refused():
    assert problems("a: 1\n---\nb: 2\n") == [(2, 1, "a second document begins here")]
    assert problems("%YAML 1.1\n---\na: 1\n") == [(1, 1, "directives are not taken")]


@pytest.mark.parametrize(
    ("content", "place", "words"),
    [
        (b"a: [1, 2\nb: 3\n", (2, 2), "this is not YAML"),
        (b"a: b: c\n", (1, 5), "this is not YAML"),
        (b"a: x\n\tb: 1\n", (2, 1), "this is not YAML"),
        (b"a: 1\nb: \xff\n", (2, 4), "byte 0xff is not UTF-8"),
        (b"a: \x07\n", (1, 4), "the character U+0007"),
        ("a: \u202ex\n".encode(), (1, 4), "the character U+202E"),
        (b"a: " + b"x" * 1024 * 1024, (1, 1), "the file has more than 1048576 bytes"),
    ],
)
def test_what_cannot_be_read_is_a_problem_with_a_place(content, place, words):
    document = read_yaml("f.yaml", content)
    (problem,) = document.problems
    assert (problem.line, problem.column) == place
    assert problem.message.startswith(words)
    assert document.is_refused(())
    assert document.data is None


def test_an_empty_file_is_a_missing_value():
    document = read_yaml("f.yaml", b"")
    assert document.data is None
    assert not document.problems


def test_a_byte_order_mark_is_passed_over():
    assert read_yaml("f.yaml", b"\xef\xbb\xbfa: 1\n").data == {"a": "1"}


def test_long_lines_are_cut_round_the_guilty_place():
    text = "a: " + "x" * 300 + " y"
    document = read_yaml("f.yaml", text.encode())
    shown, carets = document.problem_in(("a",), 301, "here").excerpt.splitlines()
    assert len(shown) <= 110
    assert shown[carets.index("^")] == "y"


def test_both_parsers_give_the_same_tree(monkeypatch):
    text = "é: {b: [x, 'ü', \"q\"]}\r\nc: |\r\n  two\r\n  lines\r\nd: &x 1\ne: >-\n  a\n  b\n"
    fast = read_yaml("f.yaml", text.encode())
    monkeypatch.setattr(reading, "_PARSER", yaml.SafeLoader)
    slow = read_yaml("f.yaml", text.encode())
    assert slow.data == fast.data
    assert slow.problems == fast.problems
    assert slow.place_of(("é", "b", 2)) == fast.place_of(("é", "b", 2)) == (1, 17)


def test_nodes_tell_quoted_from_plain():
    root = read_yaml("f.yaml", b"a: 'x'\nb: x\n").root
    assert isinstance(root, MapNode)
    a, b = root.values["a"], root.values["b"]
    assert isinstance(a, TextNode)
    assert isinstance(b, TextNode)
    assert (a.style, b.style) == ("'", "")


def test_nested_errors_become_paths():
    errors = {"a": {0: {"b": ["x"], "_schema": ["y"]}}, "_schema": ["z"]}
    assert list(flatten(errors)) == [(("a", 0, "b"), "x"), (("a", 0), "y"), ((), "z")]


@settings(deadline=None, derandomize=True, max_examples=300)
@given(st.text(st.sampled_from("ab:-[]{}&*!|>'\"#%, \n\t?~<é\u2028"), max_size=40))
def test_no_text_makes_the_reader_fail(text):
    document = read_yaml("f.yaml", text.encode())
    for problem in document.problems:
        assert problem.line >= 1
        assert problem.column >= 1
