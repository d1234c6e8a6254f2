"""The form of the settings of messages, key by key."""

import re
from datetime import time
from typing import Any
from urllib.parse import urlsplit

from marshmallow import RAISE, Schema, ValidationError, fields, validate, validates_schema

from qa_engine.messages.webhook import is_loopback

SECURITY = ("starttls", "tls", "none")
LONGEST_ADDRESS = 254
"""Most characters of an e-mail address (RFC 5321, 4.5.3.1.3, less the angle brackets)."""

_ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*")
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):([0-5][0-9])")
_HOST = re.compile(r"[A-Za-z0-9.:-]{1,253}")
_IN_URL = re.compile(r"[!-~]{1,2000}")


class Clock(fields.Field[time]):
    """A time of day, such as 06:30."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> time:
        found = _CLOCK.fullmatch(value) if isinstance(value, str) else None
        if found is None:
            raise ValidationError('write an hour of the day as "06:30", from 00:00 to 23:59')
        return time(int(found[1]), int(found[2]))


class Address(fields.Field[str]):
    """An e-mail address, without a name around it."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        plain = isinstance(value, str) and len(value) <= LONGEST_ADDRESS
        if not plain or not _ADDRESS.fullmatch(value):
            raise ValidationError("write one e-mail address, such as yard@example.org")
        return str(value)


class HookAddress(fields.Field[str]):
    """The URL of a webhook: https, or http on this machine."""

    def _deserialize(self, value: Any, attr: str | None, data: Any, **kwargs: Any) -> str:
        if not isinstance(value, str) or not _IN_URL.fullmatch(value):
            raise ValidationError("write a URL, such as https://hooks.example.org/fleet")
        try:
            parts = urlsplit(value)
            host, _ = parts.hostname, parts.port
        except ValueError:
            raise ValidationError("this is no URL; write one such as https://example.org") from None
        if parts.scheme not in ("https", "http") or not host or parts.fragment:
            raise ValidationError("write a URL that begins with https:// and has no '#'")
        if parts.scheme == "http" and not is_loopback(host):
            raise ValidationError("what leaves this machine goes by https: write https://")
        if parts.username is not None:
            raise ValidationError("leave user and password out of it; calls are signed instead")
        return value


class MailForm(Schema):
    """The server that takes mail."""

    class Meta:
        unknown = RAISE

    server = fields.String(
        required=True, validate=validate.Regexp(f"^(?:{_HOST.pattern})\\Z", error="no host name")
    )
    port = fields.Integer(required=True, validate=validate.Range(1, 65_535))
    security = fields.String(required=True, validate=validate.OneOf(SECURITY))
    sender = Address(required=True)
    user = fields.String(validate=validate.Length(1, 200))
    password_variable = fields.String(validate=validate.Length(1))
    password_file = fields.String(validate=validate.Length(1))

    @validates_schema
    def _fits(self, data: dict[str, Any], **kwargs: Any) -> None:
        given = "password_variable" in data or "password_file" in data
        if given != ("user" in data):
            raise ValidationError("'user' goes with 'password_variable' or 'password_file'")
        _one_source(data, "password")
        if data["security"] == "none" and not is_loopback(data["server"]):
            hint = "mail goes unprotected only on this machine; use starttls or tls"
            raise ValidationError(hint, "security")


class WebhooksForm(Schema):
    """What webhooks are signed with."""

    class Meta:
        unknown = RAISE

    secret_variable = fields.String(validate=validate.Length(1))
    secret_file = fields.String(validate=validate.Length(1))

    @validates_schema
    def _fits(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not data:
            raise ValidationError("name 'secret_variable' or 'secret_file'")
        _one_source(data, "secret")


class GroupForm(Schema):
    """Where messages of one base or van go."""

    class Meta:
        unknown = RAISE

    mail = fields.List(Address())
    webhooks = fields.List(HookAddress())

    @validates_schema
    def _somebody(self, data: dict[str, Any], **kwargs: Any) -> None:
        if not any(data.values()):
            raise ValidationError("nobody is named: list addresses under 'mail' or 'webhooks'")


class SettingsForm(Schema):
    """Who is told what."""

    class Meta:
        unknown = RAISE

    morning = Clock(required=True)
    mail = fields.Nested(MailForm)
    webhooks = fields.Nested(WebhooksForm)
    bases = fields.Dict(fields.String(), fields.Nested(GroupForm), required=True)
    vans = fields.Dict(fields.String(), fields.Nested(GroupForm))


def keys_at(path: tuple[str | int, ...]) -> tuple[str, ...]:
    """Return the keys that a mapping of the settings may have."""
    if not path:
        return tuple(SettingsForm().fields)
    forms = {"mail": MailForm, "webhooks": WebhooksForm}
    return tuple(forms.get(str(path[0]), GroupForm)().fields)


def _one_source(data: dict[str, Any], name: str) -> None:
    if f"{name}_variable" in data and f"{name}_file" in data:
        raise ValidationError(f"name one of '{name}_variable' and '{name}_file'", f"{name}_file")
