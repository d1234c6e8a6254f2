"""Lists of booked jobs: what is taken, and what is said of a list that cannot be used."""

from datetime import date

import pytest

from qa_engine.errors import IntakeError
from qa_engine.intake import WrittenFile, read_jobs

HEAD = "date,van,vehicle_class,count\n"
GOOD = HEAD + "2026-03-03,V1,car,5\n2026-03-04,V1,van,2\n"


@pytest.fixture
def register(fleet_of):
    """A register with a van, and a class whose water changed."""
    return fleet_of(
        [],
        vans=[{"van": "V1", "base": "north"}],
        vehicle_classes=[
            {"vehicle_class": "car", "water_per_rinse": 30.0},
            {"vehicle_class": "van", "water_per_rinse": 50.0},
            {"vehicle_class": "van", "water_per_rinse": 60.0, "from": "2026-03-04"},
            {"vehicle_class": "lorry"},
        ],
    ).register


def complaints(text, register, name="jobs.csv"):
    """What is said of a list that cannot be used, line by line."""
    with pytest.raises(IntakeError) as caught:
        read_jobs(WrittenFile(name, text.encode()), register)
    return str(caught.value).splitlines()


def test_a_job_takes_the_water_of_its_class_on_its_day(register):
    """5 cars of 30 L; 2 of the class 'van' of 60 L, as it holds from 4 March on."""
    jobs = read_jobs(WrittenFile("jobs.csv", GOOD.encode()), register)
    assert jobs.rows(named=True) == [
        {
            "date": date(2026, 3, 3),
            "van": "V1",
            "vehicle_class": "car",
            "count": 5.0,
            "job": None,
            "litres": 150.0,
        },
        {
            "date": date(2026, 3, 4),
            "van": "V1",
            "vehicle_class": "van",
            "count": 2.0,
            "job": None,
            "litres": 120.0,
        },
    ]


def test_json_lines_and_csv_say_the_same(register):
    lines = (
        '{"date": "2026-03-03", "van": "V1", "vehicle_class": "car", "count": 5}\n'
        '{"date": "2026-03-04", "van": "V1", "vehicle_class": "van", "count": "2"}\n'
    )
    written = read_jobs(WrittenFile("jobs.jsonl", lines.encode()), register)
    assert written.equals(read_jobs(WrittenFile("jobs.csv", GOOD.encode()), register))


def test_a_list_is_read_from_disk_whatever_the_order_of_its_columns(tmp_path, register):
    path = tmp_path / "jobs.csv"
    path.write_text('count,job,date,vehicle_class,van\n5,"A, 1",2026-03-03,car,V1\n\n')
    row = read_jobs(path, register).row(0, named=True)
    assert (row["job"], row["count"], row["litres"]) == ("A, 1", 5, 150)


def test_everything_wrong_in_a_list_is_told_at_once_with_its_line(register):
    text = "date,van,vehicle_class,count,job\n"
    text += "03/02/2026,V1,car,many,\n2026-03-03,V2,cor,1,\n2026-03-03,V1,lorry,1,A\n"
    text += "2026-03-03,V1,car,1.5,A\n2026-03-03,V1,car,0,\n,V1,car,nan,\n2026-03-03,V1,car,1,A\n"
    assert complaints(text, register) == [
        "jobs.csv:2: count 'many' is not a number; expected a whole number from 1 to 10000",
        "jobs.csv:2: date '03/02/2026' is not a day; expected a day written YYYY-MM-DD, from the "
        "years 1900 to 2199",
        "jobs.csv:3: van 'V2' is not in the register; expected an id of vans, or add a row there",
        "jobs.csv:3: vehicle_class 'cor' is not in the register (did you mean 'car'?); expected "
        "an id of vehicle_classes, or add a row there",
        "jobs.csv:4: vehicle_class 'lorry' has no water_per_rinse in the register on that day; "
        "expected a class whose water is known, or state it there",
        "jobs.csv:5: count '1.5' is not a whole number; expected a whole number from 1 to 10000",
        "jobs.csv:6: count '0' lies below 1; expected a whole number from 1 to 10000",
        "jobs.csv:7: count is missing; expected a whole number from 1 to 10000",
        "jobs.csv:7: date is missing; expected a day written YYYY-MM-DD, from the years 1900 to "
        "2199",
        "jobs.csv:8: job 'A' stands in line 4 too; expected an id of its own for each job, or none",
    ]


def test_rows_that_cannot_be_split_into_cells_are_named(register):
    text = GOOD + '2026-03-03,V1,car,1,2\n2026-03-03,V1,"c"ar,1\n'
    assert complaints(text, register) == [
        "jobs.csv:4: '2026-03-03,V1,car,1,2'; expected 4 cells, one per column and separated by "
        "commas (the row has 5)",
        "jobs.csv:5: expected 4 cells, one per column and separated by commas (something stands "
        "behind a closing quotation mark)",
    ]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", ["jobs.csv: the file is empty"]),
        (HEAD, ["jobs.csv: no job stands in this list; expected a row for each"]),
        (
            "date,van\n2026-03-03,V1\n",
            [
                "jobs.csv: there is no column 'vehicle_class', which every job needs",
                "jobs.csv: there is no column 'count', which every job needs",
            ],
        ),
        (
            "date,vann,vehicle_class,count\n",
            ["jobs.csv: there is no column 'vann'; did you mean 'van'?"],
        ),
        ("date;van;count\n", ["jobs.csv: the columns must be separated by commas"]),
    ],
)
def test_a_list_that_is_none_says_why(text, told, register):
    assert complaints(text, register) == told


def test_a_file_by_another_name_is_not_guessed_at(register):
    assert complaints(GOOD, register, "jobs.txt") == [
        "jobs.txt: the name should end in one of .csv, .jsonl, .ndjson"
    ]


def test_lines_of_json_that_are_no_jobs_are_named(register):
    text = '{"date": "2026-03-03", "van": "V1", "vehicle_class": "car", "count": true}\n[1]\nabc\n'
    told = complaints(text, register, "jobs.jsonl")
    assert told[0].startswith("jobs.jsonl:1: count 'true' is not a number; expected a whole number")
    assert told[1] == "jobs.jsonl:2: '[1]'; expected one JSON object per line (is not an object)"
    assert told[2].startswith("jobs.jsonl:3: 'abc'; expected one JSON object per line (is not JSON")


def test_a_member_that_is_no_field_of_a_job_is_refused_with_the_nearest_name(register):
    text = '{"date": "2026-03-03", "van": "V1", "vehicle_clas": "car", "count": 1}\n'
    assert complaints(text, register, "jobs.jsonl") == [
        "jobs.jsonl:1: there is no column 'vehicle_clas'; did you mean 'vehicle_class'?"
    ]


def test_what_steers_a_screen_is_not_repeated(register):
    (line,) = complaints(HEAD + "2026-03-03,\x1b[2J,car,1\n", register)
    assert "\x1b" not in line
