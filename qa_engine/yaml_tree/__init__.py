"""YAML read as text with a position for everything, and nothing in it that could surprise.

One pass over the parser's events builds the tree. Scalars stay what was written: ``no``, ``1:30``
and ``010`` are texts until a schema says otherwise; a plain empty value, ``~`` and ``null`` are
missing. Anchors, aliases, tags, merge keys, directives, duplicate keys, keys that are not plain
text, further documents, files too deep or too big are refused, all of them in one go.

A reader hands the plain data to a schema and asks the document where things stand::

    document = read_yaml("register.yaml", path.read_bytes())
    problems = list(document.problems)
    try:
        register = RegisterSchema().load(document.data)
    except ValidationError as error:
        for path, message in flatten(error.messages):  # ("vans", 3, "base"), "..."
            if not document.is_refused(path):
                problems.append(document.problem(path, message, "what would do"))
    for problem in problems:
        print(problem)  # register.yaml:14:5: ... with the source line and a caret
"""

from qa_engine.yaml_tree.document import (
    Document,
    ListNode,
    MapNode,
    Node,
    Path,
    RefusedNode,
    TextNode,
    flatten,
)
from qa_engine.yaml_tree.problem import MOST_PROBLEMS, Problem, first_of
from qa_engine.yaml_tree.reading import LARGEST_FILE, read_yaml

__all__ = [
    "LARGEST_FILE",
    "MOST_PROBLEMS",
    "Document",
    "ListNode",
    "MapNode",
    "Node",
    "Path",
    "Problem",
    "RefusedNode",
    "TextNode",
    "first_of",
    "flatten",
    "read_yaml",
]
