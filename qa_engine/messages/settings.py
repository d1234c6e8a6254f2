"""Reads who is told what: addresses by base and van, the hour of the morning, how mail goes out."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from ssl import SSLContext
from typing import Any

from marshmallow import ValidationError

from qa_engine.errors import MessagesError, nearest
from qa_engine.messages.message import MAIL, WEBHOOK, Channel
from qa_engine.messages.post import PostOffice
from qa_engine.messages.secret import SecretError, secret_of
from qa_engine.messages.settings_form import SettingsForm, keys_at
from qa_engine.yaml_tree import LARGEST_FILE, Document, Problem, flatten, read_yaml

Channels = Mapping[str, tuple[Channel, ...]]

UNKNOWN = "Unknown field."
LACKING = "Missing data for required field."
NO_PASSWORD = (
    "no secret stands in this file: name an environment variable with '{name}_variable' or a file "
    "that only you can read with '{name}_file'"
)


@dataclass(frozen=True)
class MessageSettings:
    """Who is told, and how.

    Attributes:
        morning: when morning messages go out, by the operator's clock.
        bases: where the messages of each base go.
        vans: where stop messages of a van go, beside those of its base.
        mail: the server that takes mail; None where nobody is told by mail.
        secret: what webhooks are signed with; None where there are none.
        webhook_tls: what certificates webhooks may have; None for those that the system trusts.
    """

    morning: time
    bases: Channels
    vans: Channels = field(default_factory=dict)
    mail: PostOffice | None = None
    secret: str | None = field(default=None, repr=False)
    webhook_tls: SSLContext | None = field(default=None, repr=False)

    def channels(self) -> set[Channel]:
        """Return every channel that is named."""
        groups = (*self.bases.values(), *self.vans.values())
        return {channel for channels in groups for channel in channels}


def read_settings(path: Path, environment: Mapping[str, str] | None) -> MessageSettings:
    """Read who is told what.

    Args:
        path: a YAML file; files that it names lie beside it.
        environment: where the variables that it names are looked up; None to look no secret up, so
            that nothing can be sent.

    Raises:
        MessagesError: it cannot be used as written; every problem is named with its line.
    """
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except OSError as error:
        raise MessagesError(f"{path}: cannot be read: {error.strerror}") from None
    document = read_yaml(str(path), content)
    problems = list(document.problems)
    written: dict[str, Any] = {}
    try:
        written = SettingsForm().load(document.data)
    except ValidationError as error:
        problems += _told(document, error)
    if not problems:
        problems += _between(document, written)
    if problems:
        raise MessagesError("\n\n".join(str(problem) for problem in problems))
    secrets = {}
    if environment is not None:
        secrets = _secrets(document, written, path.parent, environment)
    return _settings(written, secrets)


def _settings(written: Mapping[str, Any], secrets: Mapping[str, str]) -> MessageSettings:
    mail = written.get("mail")
    return MessageSettings(
        morning=written["morning"],
        bases=_channels(written["bases"]),
        vans=_channels(written.get("vans", {})),
        mail=mail and _post_office(mail, secrets.get("mail")),
        secret=secrets.get("webhooks"),
    )


def _post_office(mail: Mapping[str, Any], password: str | None) -> PostOffice:
    return PostOffice(
        mail["server"],
        mail["port"],
        mail["security"],
        mail["sender"],
        user=mail.get("user"),
        password=password,
    )


def _channels(groups: Mapping[str, Mapping[str, list[str]]]) -> Channels:
    return {name: tuple(dict.fromkeys(_each(group))) for name, group in groups.items()}


def _each(group: Mapping[str, list[str]]) -> Iterator[Channel]:
    for address in group.get("mail", ()):
        yield Channel(MAIL, address)
    for address in group.get("webhooks", ()):
        yield Channel(WEBHOOK, address)


def _told(document: Document, error: ValidationError) -> Iterator[Problem]:
    for path, text in flatten(error.messages):
        if document.is_refused(path):
            continue
        name = str(path[-1]) if path else ""
        if text == UNKNOWN:
            yield document.problem(path, f"'{name}' is not a key here", _hint(path), key=True)
        elif text == LACKING:
            yield document.problem(path[:-1], f"'{name}:' is missing here", f"add '{name}:'")
        else:
            what = f"'{name}' cannot be used" if name else "these are no settings of messages"
            yield document.problem(path, what, text)


def _hint(path: tuple[str | int, ...]) -> str:
    name, known = str(path[-1]), keys_at(path[:-1])
    if name in ("password", "secret"):
        return NO_PASSWORD.format(name=name)
    return nearest(name, known) or f"the keys here are: {', '.join(known)}"


def _between(document: Document, written: Mapping[str, Any]) -> Iterator[Problem]:
    """Yield what is wrong between parts that are right in themselves."""
    for kind, section in (("mail", "mail"), ("webhooks", "webhooks")):
        for groups in ("bases", "vans"):
            for name, group in written.get(groups, {}).items():
                if group.get(kind) and section not in written:
                    what = f"'{name}' is told by {kind}, and there is no '{section}:' section"
                    yield document.problem((groups, name, kind), what, f"add '{section}:'")


def _secrets(
    document: Document,
    written: Mapping[str, Any],
    folder: Path,
    environment: Mapping[str, str],
) -> dict[str, str]:
    """Return the secrets of the sections that name one.

    Raises:
        MessagesError: one cannot be had.
    """
    found = {}
    for section, name in (("mail", "password"), ("webhooks", "secret")):
        for source in ("variable", "file"):
            key = f"{name}_{source}"
            if given := written.get(section, {}).get(key):
                try:
                    found[section] = secret_of(source, given, folder, environment)
                except SecretError as error:
                    problem = document.problem((section, key), str(error), error.help)
                    raise MessagesError(str(problem)) from None
    return found
