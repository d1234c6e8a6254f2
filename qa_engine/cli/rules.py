"""``qa-engine rules``: check rule sets, list, explain and compare them."""

import click

from qa_engine.cli.rules_check import check
from qa_engine.cli.rules_compare import compare_rules
from qa_engine.cli.rules_explain import explain
from qa_engine.cli.rules_list import list_rules


@click.group("rules")
def command() -> None:
    """Check, list, explain and compare rule sets."""


for one in (check, list_rules, explain, compare_rules):
    command.add_command(one)
