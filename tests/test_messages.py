"""What bases are told in the morning and crews at a stop, and when; and how settings are read."""

from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from qa_engine.book import create_book, open_book
from qa_engine.book.lookout import Lookout
from qa_engine.cli.rule_files import rule_sources
from qa_engine.demo import AS_OF, write_demo
from qa_engine.errors import MessagesError
from qa_engine.intake import read_records, read_register
from qa_engine.messages import (
    Channel,
    MessageSettings,
    Outbox,
    Rounds,
    morning_message,
    read_settings,
    stop_messages,
)
from qa_engine.messages.stop import identities, stops_of
from qa_engine.plugin_host import installed_plugins

TO = Channel("mail", "yard@quillmere.example")
OTHER = Channel("mail", "other@quillmere.example")
VAN = Channel("mail", "van@quillmere.example")
DAY = date(2026, 8, 1)
LONDON = ZoneInfo("Europe/London")
PLACES = 'bases: {north: {webhooks: ["https://told.example/x"]}}\n'


@pytest.fixture(scope="module")
def state(tmp_path_factory):
    """Return how the demo fleet stands on its last day."""
    folder = tmp_path_factory.mktemp("fleet")
    fleet = write_demo(folder)
    register = read_register(fleet.register)
    entered = {"entered_at": AS_OF, "entered_by": "P-00"}
    with create_book(
        folder / "fleet.book", operator=register.operator, time_zone=register.zone.key, **entered
    ) as book:
        book.put_register(register, key="register", **entered)
        frames = read_records(fleet.records, time_zone=None).frames
        book.add(frames, key="records", source="demo", **entered)
        found = Lookout(book, installed_plugins(), rule_sources([])).state(AS_OF)
        assert found.tanks.height
        yield found


def part(text, title):
    """Return the lines under a title of a message."""
    lines = text.split("\n")
    begin = next(place for place, line in enumerate(lines) if line.startswith(title))
    return lines[begin + 1 : lines.index("", begin)]


def test_a_base_is_told_what_must_not_rinse_with_the_reason_and_the_caution(state):
    told = part(morning_message(state, "Crabwater", DAY, TO).text, "MUST NOT RINSE")
    assert told[0].startswith("- Van Freshet, tank T07: Stop rinsing from this tank.")
    assert "T07 read 36 mg/L" in told[1]
    assert any(line.startswith("  Caution: Isolate the tank") for line in told)


def test_a_base_is_told_nothing_of_what_another_one_must_do(state):
    text = morning_message(state, "Fernstep", DAY, TO).text
    assert "T02" in text
    assert "T07" not in text
    assert "Crabwater" not in text


def test_what_falls_due_within_a_week_is_told_and_later_things_are_not(state):
    told = part(morning_message(state, "Upper Kettle", DAY, TO).text, "FALLS DUE")
    assert len(told) == 2  # T05 on the 4th and the incident of T06 on the 5th; T04 is on the 11th
    assert "4 August" in told[0]
    assert "5 August" in told[1]


def test_the_resin_to_take_along_is_told_by_grade_and_litres(state):
    told = part(morning_message(state, "Crabwater", DAY, TO).text, "TAKE ALONG")
    assert any("T07" in line and "18 L of standard mixed bed" in line for line in told)


def test_a_base_that_nobody_knows_is_not_told_that_all_is_well(state):
    message = morning_message(state, "Crabwatre", DAY, TO)
    assert "nothing stands" not in f"{message.subject} {message.text}".lower()


def test_a_morning_has_one_message_per_base_day_and_channel(state):
    one = morning_message(state, "Fernstep", DAY, TO)
    assert one.key == morning_message(state, "Fernstep", DAY, TO).key
    others = {
        morning_message(state, "Fernstep", DAY, OTHER).key,
        morning_message(state, "Crabwater", DAY, TO).key,
        morning_message(state, "Fernstep", date(2026, 8, 2), TO).key,
    }
    assert len({one.key, *others}) == 4


def test_a_stop_goes_to_the_van_and_its_base_and_to_no_other_base(state):
    [job] = [job for job in stops_of(state) if job.tank == "T07"]
    bases = {"Crabwater": (TO,), "Fernstep": (OTHER,)}
    told = stop_messages(state, identities([job]), bases, {"Freshet": (VAN,)})
    assert {message.to for message in told} == {TO, VAN}
    assert all("Do not rinse from van Freshet, tank T07" in message.text for message in told)


def test_a_stop_tells_only_what_is_major(state):
    jobs = stops_of(state)
    assert {finding["grading"] for job in jobs for finding in job.findings} == {"major"}
    assert all(job.tank or job.van for job in jobs)


def test_of_what_is_not_new_nobody_is_told(state):
    assert stop_messages(state, set(), {"Crabwater": (TO,)}, {}) == []


@pytest.mark.parametrize(
    ("hour", "local", "comes"),
    [
        # Clocks go from 01:00 to 02:00 on 29 March 2026 and from 02:00 to 01:00 on 25 October.
        ("01:30", "2026-03-29T00:59:00+00:00", 0),
        ("01:30", "2026-03-29T02:00:00+01:00", 1),
        ("01:30", "2026-10-25T01:29:00+01:00", 0),
        ("01:30", "2026-10-25T01:30:00+01:00", 1),
        ("06:00", "2026-07-01T05:59:59+01:00", 0),
        ("06:00", "2026-07-01T06:00:00+01:00", 1),
    ],
)
def test_the_morning_comes_by_the_operator_s_clock(state, tmp_path, hour, local, comes):
    assert mornings(state, tmp_path, hour, [local]) == [comes]


def test_an_hour_that_the_clocks_show_twice_brings_one_message(state, tmp_path):
    twice = ["2026-10-25T01:30:00+01:00", "2026-10-25T01:30:00+00:00", "2026-10-25T09:00:00+00:00"]
    assert mornings(state, tmp_path, "01:30", twice) == [1, 1, 1]


def mornings(state, folder, hour, instants):
    """Return how many messages are in the outbox after rounds at some instants, in London."""
    here = SimpleNamespace(
        **{name: getattr(state, name) for name in ("as_of", "entries", "findings", "editions")},
        **{name: getattr(state, name) for name in ("tanks", "due", "forecast")},
        register=SimpleNamespace(zone=LONDON, table=state.register.table),
    )
    path = folder / "empty.book"
    entered = {"entered_at": AS_OF, "entered_by": "P-00"}
    create_book(path, operator="Quillmere", time_zone="Europe/London", **entered).close()
    file = folder / "told.yaml"
    file.write_text(
        f'morning: "{hour}"\n'
        "mail: {server: localhost, port: 25, security: none, sender: a@b.example}\n"
        "bases: {Fernstep: {mail: [yard@quillmere.example]}}\n",
        encoding="utf-8",
    )
    found = []
    with open_book(path) as book:
        outbox = Outbox(book)
        for written in instants:
            now = datetime.fromisoformat(written).astimezone(UTC)
            lookout = SimpleNamespace(state=lambda _: here)
            Rounds(lookout, outbox, read_settings(file, {}), lambda at=now: at, "a test").gather()
            found.append(len(outbox.waiting()))
    return found


def read(tmp_path: Path, text: str, environment: dict[str, str] | None = None) -> MessageSettings:
    file = tmp_path / "told.yaml"
    file.write_text(text, encoding="utf-8")
    return read_settings(file, environment)


def test_settings_say_who_is_told_and_keep_the_secret_out_of_what_is_printed(tmp_path):
    text = 'morning: "06:30"\nwebhooks: {secret_variable: HOOK}\n' + PLACES
    settings = read(tmp_path, text, {"HOOK": "hush"})
    assert settings.bases == {"north": (Channel("webhook", "https://told.example/x"),)}
    assert settings.secret == "hush"
    assert "hush" not in repr(settings)


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ('morning: "25:00"\nwebhooks: {secret_variable: H}\n' + PLACES, 1, "morning"),
        ('morning: "06:00"\nwebhook: {secret_variable: H}\n' + PLACES, 2, "webhooks"),
        ('morning: "06:00"\nbases: {north: {webhooks: ["http://told.example/"]}}\n', 2, "https"),
        (
            'morning: "06:00"\nbases: {north: {mail: ["a@b.example\\nBcc: c@d.example"]}}\n',
            2,
            "mail",
        ),
        ('morning: "06:00"\n' + PLACES, 2, "webhooks"),
        (
            'morning: "06:00"\nmail: {server: mail.example, port: 25, security: none, '
            "sender: a@b.example}\nbases: {north: {mail: [c@d.example]}}\n",
            2,
            "this machine",
        ),
    ],
)
def test_what_is_wrong_in_settings_is_named_with_its_line(tmp_path, text, line, word):
    with pytest.raises(MessagesError, match=rf"told\.yaml:{line}:") as refused:
        read(tmp_path, text, {"H": "hush"})
    assert word in str(refused.value)
