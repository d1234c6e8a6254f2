"""The program ``qa-engine`` and its commands; each command is loaded when it is called."""

import sys
from importlib import import_module
from typing import Any

import click

import qa_engine
from qa_engine.errors import QAEngineError

WRONG_CALL = 2
"""Exit status when the call, the register or the rules are wrong and nothing was judged."""

COMMANDS = {
    "demo": ("qa_engine.cli.demo", "Make the demo fleet, inspect it and show the result."),
    "inspect": ("qa_engine.cli.inspect", "Judge service records by rule sets."),
    "forecast": ("qa_engine.cli.forecast", "Say by when the resin of each tank must be changed."),
    "book": ("qa_engine.cli.book", "Keep records for good in a record book."),
    "audit": ("qa_engine.cli.audit", "Write the audit report of a record book."),
    "messages": ("qa_engine.cli.messages", "Send bases and crews what they should know."),
    "serve": ("qa_engine.cli.serve", "Serve the pages of a record book."),
    "rules": ("qa_engine.cli.rules", "Check and list rule sets."),
    "facts": ("qa_engine.cli.facts", "List the facts that rules may name."),
    "models": ("qa_engine.cli.models", "List, check and explain the resin models."),
}
"""Where each command lives and what the overview says of it."""


class Program(click.Group):
    """Loads a command only when it is called, so that the overview comes at once."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        command: click.Command = import_module(COMMANDS[name][0]).command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, says) for name, (_, says) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except QAEngineError as error:
            click.echo(str(error), err=True)
            ctx.exit(WRONG_CALL)


@click.group(cls=Program, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(qa_engine.__version__, prog_name="qa-engine")
def program() -> None:
    """Judge service records of portable deionisation tanks by rule sets written in YAML.

    Results go to standard output, progress and messages to standard error.

    Exit status: 0 all major and minor requirements are met, 1 one is not, 2 the call, the
    register or the rules are wrong and nothing was judged, 3 the report is incomplete.
    """


def main() -> None:
    """Run the program."""
    sys.exit(program.main(standalone_mode=True))
