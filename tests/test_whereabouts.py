"""The van of a record: the one it names, or the register's for its tank at that time."""

from qa_engine.facts.whereabouts import with_van


def test_a_van_that_was_logged_stays_and_a_missing_one_is_the_registers_of_that_time(fleet_of):
    days = ("2026-01-09", "2026-01-10", "2026-01-11")
    records = [
        {"kind": "rinse", "tank": "T1", "at": at, "van": van}
        for at, van in zip(days, (None, None, "V9"), strict=True)
    ]
    records.append({"kind": "rinse", "tank": "T2", "at": "2026-01-09"})
    tanks = [{"tank": "T1", "van": "V1"}, {"tank": "T1", "from": "2026-01-10", "van": "V2"}]
    fleet = fleet_of(records, tanks=tanks)
    rinses = fleet.past.history.of("rinse", "tank", "at", "van")
    assert with_van(rinses, fleet.register)["van"].to_list() == ["V1", "V2", "V9", None]
