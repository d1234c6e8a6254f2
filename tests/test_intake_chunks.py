"""Files in chunks: the same as whole, with keys and ids that stay."""

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from qa_engine.errors import ColumnMapError
from qa_engine.intake import WrittenFile, map_of, read_records, read_with_map
from qa_engine.intake.chunks import read_in_chunks
from qa_engine.intake.mending import rows_to_mend, write_to_mend

HEAD = "record,kind,at,tank,outlet_tds"
ROWS = [f"R{n:03d},reading,2026-03-01T08:{n % 60:02d}:00Z,T-1,{n}" for n in range(100)]
ROWS[41] = "R041,reading,2026-03-01T08:15:00Z,T-1,murky"
PLAIN = WrittenFile("a.csv", "\n".join([HEAD, *ROWS, ""]).encode())
MAP = map_of(
    "m.yaml",
    b"""column_map: 1
tables:
  - kind: reading
    columns:
      - {head: at, field: at}
      - {head: tank, field: tank}
      - {head: outlet_tds, field: outlet_tds}
    columns_left_out: [record, kind]
""",
)


def together(chunks):
    frames = [one.intake.frames["reading"] for one in chunks]
    return pl.concat(frames, how="diagonal").sort("tank", "at", "record")


@pytest.mark.parametrize("column_map", [None, MAP])
def test_a_file_in_chunks_says_what_it_says_whole(column_map):
    chunks = list(read_in_chunks(PLAIN, column_map, rows=30))
    whole = read_records([PLAIN]) if column_map is None else read_with_map([PLAIN], column_map)
    assert [one.intake.read for one in chunks if one.intake.read] == [30, 30, 30, 10]
    assert_frame_equal(together(chunks), whole.frames["reading"], check_column_order=False)
    refused = pl.concat([one.intake.refused for one in chunks])
    assert_frame_equal(refused, whole.refused)
    assert refused["line"].to_list() == [43]


def test_rows_that_say_the_same_in_two_chunks_are_told_apart_as_in_one():
    twice = WrittenFile("a.csv", "\n".join([HEAD, *ROWS[:9], *ROWS[:9], ""]).encode())
    chunks = [one for one in read_in_chunks(twice, MAP, rows=9) if one.intake.read]
    whole = read_with_map([twice], MAP).frames["reading"]
    assert whole["record"].n_unique() == 18
    assert_frame_equal(together(chunks), whole, check_column_order=False)


def test_the_key_of_a_chunk_stands_for_the_rows_and_the_way_they_are_read():
    def keys(**ways):
        return [one.key for one in read_in_chunks(PLAIN, rows=30, **ways)]

    once = keys()
    assert once == keys()
    assert len(set(once)) == 4
    others = [keys(time_zone="Etc/UTC"), keys(column_map=MAP)]
    longer = WrittenFile("a.csv", (PLAIN.content or b"") + b"R999,x,,,\n")
    others.append([one.key for one in read_in_chunks(longer, rows=30)])
    for other in others:
        assert not set(once) & set(other)


def test_a_map_with_questions_is_not_begun_with():
    asked = map_of(
        "m.yaml", b"column_map: 1\nanswers: {}\ntables: []\n".replace(b"{}", b"\n  a: ???")
    )
    with pytest.raises(ColumnMapError):
        next(read_in_chunks(PLAIN, asked))


def test_refused_rows_can_be_mended_and_read_again(tmp_path):
    """The row keeps the id that it would have had, and its numbers their units."""
    content = b"when;tank;TDS\n25.03.2026 08:15;T-1;lots\n25.03.2026 09:15;T-1;7\n"
    column_map = map_of(
        "m.yaml",
        b"""column_map: 1
time_zone: America/Chicago
date_order: day-month-year
tables:
  - kind: reading
    columns:
      - {head: when, field: at}
      - {head: tank, field: tank}
      - {head: TDS, field: outlet_conductivity, unit: mS/cm}
""",
    )
    intake = read_with_map([WrittenFile("a.csv", content)], column_map)
    path = tmp_path / "mend.csv"
    assert write_to_mend(intake, path) == 1
    assert rows_to_mend(intake)["refused because"].to_list() == [
        "outlet_conductivity: 'lots' is not a number; expected a number in uS/cm, or one with its "
        "unit, from 0 to 100000, written with a decimal point, such as 12.5"
    ]
    path.write_text(path.read_text().replace(",lots", ",0.5 mS/cm"))
    mended = read_records([path])
    assert mended.refused.is_empty()
    row = mended.frames["reading"].row(0, named=True)
    assert (row["at"].isoformat(), row["outlet_conductivity"]) == ("2026-03-25T13:15:00+00:00", 500)
    whole = read_with_map([WrittenFile("a.csv", content.replace(b"lots", b"0.5"))], column_map)
    assert row["record"] not in whole.frames["reading"]["record"].to_list()  # it is another row
