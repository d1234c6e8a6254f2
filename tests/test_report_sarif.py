"""The report as SARIF: what fails, what is open, what is permitted, and by which edition."""

import json
from hashlib import sha256
from urllib.parse import urlsplit

import pytest
from click.testing import CliRunner

from qa_engine.cli.program import program
from qa_engine.report.sarif_parts import file_place, fleet_place, message

REGISTER = """\
operator: {name: Quillmere Coach Rinse (invented), time_zone: Europe/London}
vans:
  - {van: Quill, base: North Yard}
tanks:
  - {tank: T-1, van: Quill}
"""

RULES = """\
rule_set: house
title: House
edition: 2026-0MONTH
in_force: {from: 2026-0MONTH-01}
owner: standards lead
rules:
  - rule: outlet-below-house-limit
    title: Outlet water below the house limit
    subject: reading
    requires: outlet_tds < house_limit
    limits:
      house_limit: {is: LIMIT, basis: common practice, review_by: 2027-04-01}
    grading: GRADING
    says: Outlet {{braces}} read {outlet_tds}; see [here](1), the limit is {house_limit}.
    correction: Change the resin.
    caution: See zero on a gauge first.
    examples:
      conforms: [{outlet_tds: 1 mg/L}]
      does_not_conform: [{outlet_tds: 400 mg/L}]
      undecided: [{}]
"""

PERMISSION = """\
permissions:
  - permission: DP-1
    type: deviation permit
    rule_set: house
    scope: {van: Quill}
    reason: Resin is being replaced.
    requested_by: P-07
    approved_by: P-01
    requested_on: 2026-04-29
    approved_on: 2026-04-30
    from: 2026-05-01
    until: 2026-05-31
"""

RECORDS = """\
record,kind,at,van,tank,by,outlet_tds
R-1,reading,2026-04-10T08:00:00Z,Quill,T-1,P-07,22
R-2,reading,2026-05-10T08:00:00Z,Quill,T-1,P-07,22
R-3,reading,2026-05-11T08:00:00Z,Quill,T-1,P-07,
"""


def rules(month, limit, grading):
    text = RULES.replace("MONTH", month).replace("LIMIT", limit)
    return text.replace("GRADING", grading)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An operator with two editions, a reading under each and one with no value."""
    (tmp_path / "register.yaml").write_text(REGISTER)
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "house 4.yaml").write_text(rules("4", "21 mg/L", "minor"))
    (tmp_path / "rules" / "house 5.yaml").write_text(rules("5", "20 mg/L", "major"))
    (tmp_path / "permissions.yaml").write_text(PERMISSION)
    (tmp_path / "records.csv").write_text(RECORDS)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def log(*more):
    """Return the exit status and the only run of the log of an inspection."""
    fixed = ("inspect", "records.csv", "--register", "register.yaml", "--rules", "rules")
    arguments = (*fixed, "--as-of", "2026-05-20T12:00:00Z", "--format", "sarif", *more)
    result = CliRunner().invoke(program, arguments)
    assert result.stderr == ""
    told = json.loads(result.stdout)
    assert told["version"] == "2.1.0"
    (run,) = told["runs"]
    return result.exit_code, run


def by_record(run):
    """Return the results by the record that is their subject."""
    return {one["properties"]["subject"]["id"]: one for one in run["results"]}


def test_what_fails_has_a_level_by_grading_and_what_is_undecided_has_none(folder):
    status, run = log()
    found = by_record(run)
    assert {at: (one["kind"], one["level"]) for at, one in found.items()} == {
        "R-1": ("fail", "warning"),
        "R-2": ("fail", "error"),
        "R-3": ("open", "none"),
    }
    assert status == 1 == run["invocations"][0]["exitCode"]
    assert found["R-3"]["properties"]["missing"] == ["outlet_tds"]


def test_each_result_leads_to_its_rule_in_the_edition_that_judged(folder):
    _, run = log()
    limits = {}
    for record, one in by_record(run).items():
        reference = one["rule"]
        edition = run["tool"]["extensions"][reference["toolComponent"]["index"]]
        descriptor = edition["rules"][reference["index"]]
        assert edition["name"] == reference["toolComponent"]["name"] == "house"
        assert descriptor["id"] == one["ruleId"] == "house/outlet-below-house-limit"
        assert edition["version"] == one["properties"]["edition"]
        limits[record] = descriptor["properties"]["limits"]["house_limit"]["written"]
    assert limits == {"R-1": "21 mg/L", "R-2": "20 mg/L", "R-3": "20 mg/L"}


def test_a_rule_is_told_in_plain_words_with_help_for_both_kinds_of_reader(folder):
    descriptor = log()[1]["tool"]["extensions"][0]["rules"][0]
    said = descriptor["fullDescription"]["text"].replace("\N{NO-BREAK SPACE}", " ")
    assert said == "Outlet TDS is below 21 mg/L. It judges every reading."
    assert "Change the resin. See zero on a gauge first." in descriptor["help"]["text"]
    assert "**If not:** Change the resin." in descriptor["help"]["markdown"]
    assert descriptor["defaultConfiguration"] == {"level": "warning"}


def test_editions_carry_the_digest_of_their_file(folder):
    _, run = log()
    digests = [
        sha256((folder / "rules" / name).read_bytes()).hexdigest()
        for name in ("house 4.yaml", "house 5.yaml")
    ]
    editions = [one for one in run["tool"]["extensions"] if "rules" in one]
    assert [one["properties"]["sha256"] for one in editions] == digests
    assert [one["hashes"]["sha-256"] for one in run["artifacts"]] == digests
    assert [one["location"]["uri"] for one in run["artifacts"]] == [
        "rules/house%204.yaml",
        "rules/house%205.yaml",
    ]


def test_the_tank_is_the_place_and_the_records_are_related(folder):
    one = by_record(log()[1])["R-2"]
    assert one["locations"] == [
        {"logicalLocations": [{"name": "T-1", "fullyQualifiedName": "Quill/T-1", "kind": "tank"}]}
    ]
    rule, evidence = one["relatedLocations"]
    assert rule["physicalLocation"]["artifactLocation"] == {"uri": "rules/house%205.yaml"}
    assert rule["physicalLocation"]["region"] == {"startLine": 7}
    assert evidence["logicalLocations"] == [{"fullyQualifiedName": "R-2", "kind": "record"}]
    assert one["fingerprints"]["finding/v1"] == "house/outlet-below-house-limit/reading/R-2"


def test_a_message_says_what_to_do_and_what_to_mind_and_has_no_placeholder_or_link(folder):
    assert by_record(log()[1])["R-1"]["message"]["text"] == (
        "Outlet {{braces}} read 22 mg/L; see [here] (1), the limit is 21 mg/L. Change the resin. "
        "Caution: See zero on a gauge first."
    )


def test_what_is_permitted_is_suppressed_with_its_reason_and_never_hidden(folder):
    _, run = log("--permissions", "permissions.yaml")
    found = by_record(run)
    (suppression,) = found["R-2"]["suppressions"]
    assert (suppression["kind"], suppression["status"]) == ("external", "accepted")
    assert suppression["justification"] == "Resin is being replaced."
    told = suppression["properties"]
    assert (told["permission"], told["requestedBy"], told["approvedBy"]) == ("DP-1", "P-07", "P-01")
    assert (told["from"], told["until"]) == ("2026-05-01", "2026-05-31")
    place = suppression["location"]["physicalLocation"]
    assert place["artifactLocation"] == {"uri": "permissions.yaml"}
    assert (found["R-2"]["kind"], found["R-2"]["level"]) == ("fail", "error")
    assert found["R-1"]["suppressions"] == []


def test_without_permissions_every_result_says_that_it_has_none(folder):
    assert [one["suppressions"] for one in log()[1]["results"]] == [[], [], []]


def test_a_run_that_left_records_out_is_no_success_and_says_why(folder):
    with (folder / "records.csv").open("a") as stream:
        stream.write("R-4,reading,2026-05-12T08:00:00Z,Quill,T-1,P-07,wet\n")
        stream.write("R-5,reading,2026-05-30T08:00:00Z,Quill,T-1,P-07,3\n")
    fixed = ("inspect", "records.csv", "--register", "register.yaml", "--rules", "rules")
    arguments = (*fixed, "--as-of", "2026-05-20T12:00:00Z", "--format", "sarif")
    result = CliRunner().invoke(program, arguments)
    (invocation,) = json.loads(result.stdout)["runs"][0]["invocations"]
    assert result.exit_code == 3 == invocation["exitCode"]
    assert invocation["executionSuccessful"] is False
    told = [
        (one["level"], one["message"]["text"]) for one in invocation["toolExecutionNotifications"]
    ]
    assert ("error", "Records that could not be taken: 1.") in told
    assert ("note", "Later records that were not used: 1.") in told


def test_the_same_inspection_gives_the_same_bytes_to_a_file(folder):
    log()
    fixed = ("inspect", "records.csv", "--register", "register.yaml", "--rules", "rules")
    arguments = (*fixed, "--as-of", "2026-05-20T12:00:00Z", "--format", "sarif")
    first = CliRunner().invoke(program, arguments).stdout
    CliRunner().invoke(program, [*arguments, "--out", "log.sarif"])
    assert (folder / "log.sarif").read_text(encoding="utf-8") == first


@pytest.mark.parametrize(
    ("source", "place"),
    [
        ("rules/house.yaml", {"uri": "rules/house.yaml"}),
        ("rules\\house.yaml", {"uri": "rules/house.yaml"}),
        ("/srv/rules/a b.yaml", {"uri": "file:///srv/rules/a%20b.yaml"}),
        ("C:\\rules\\a.yaml", {"uri": "file:///C:/rules/a.yaml"}),
        ("starter_rules:resin.yaml", {"uri": "resin.yaml", "uriBaseId": "starter_rules"}),
        ("r\u00e4der#1?.yaml", {"uri": "r%C3%A4der%231%3F.yaml"}),
        ("odd name:x.yaml", {"uri": "odd%20name%3Ax.yaml"}),
    ],
)
def test_the_place_of_a_file_is_a_uri_reference(source, place):
    assert file_place(source) == place
    parts = urlsplit(place["uri"])
    assert parts.scheme in ("", "file")
    assert (parts.query, parts.fragment) == ("", "")


def test_what_belongs_to_no_tank_is_placed_by_its_own_name():
    assert fleet_place("meter", "M-1", None, None) == {
        "name": "M-1",
        "fullyQualifiedName": "M-1",
        "kind": "meter",
    }
    assert fleet_place("tank", "T-9", None, "T-9")["fullyQualifiedName"] == "T-9"


def test_a_message_keeps_everything_but_links_and_placeholders():
    assert message("{0} of 100 % [x] (y) [a](b)") == {"text": "{{0}} of 100 % [x] (y) [a] (b)"}
