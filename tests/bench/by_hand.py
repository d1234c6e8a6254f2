"""What somebody would write by hand with polars for the rules of ``rules.yaml`` and no others.

It has the duties of the engine for these rules: reads the records, looks at ids, ranges, words and
required fields, finds the same facts, judges with the same three-valued logic, merges runs into
findings with their evidence and messages, and writes them to a file. The benchmark holds its
counts against those of the engine.
"""

from dataclasses import dataclass
from pathlib import Path

import polars as pl
import yaml

from qa_engine.fields import Identifier, Quantity, Word
from qa_engine.records import KINDS, RECORD_FIELDS

CONFORMS, FAILS, UNDECIDED, NOT_APPLICABLE = 1, 0, -1, 3
SLACK = 1e-9
DAY_US = 86_400_000_000
ORDER = ("tank", "at", "record")
GRADINGS = {"major": 0, "minor": 1, "advice": 2}


@dataclass(frozen=True)
class Check:
    """A rule written by hand: polars expressions over the columns of one kind of record."""

    rule: str
    kind: str
    grading: str
    holds: pl.Expr
    needs: tuple[str, ...]
    limits: dict[str, float]
    message: pl.Expr
    correction: str
    applies: pl.Expr | None = None
    cited: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What judging by hand came to: counts by rule (conforms, fails, undecided), and findings."""

    counts: dict[str, tuple[int, int, int]]
    findings: pl.DataFrame


def inspect_by_hand(records: Path, register: Path, out: Path) -> Outcome:
    """Judge a file of records and write what does not conform or is undecided."""
    frames = read_kinds(records)
    facts = facts_by_kind(frames, read_tanks(register))
    counts, told = {}, []
    for check in CHECKS:
        frame = facts[check.kind]
        outcome = frame.select(outcome=outcome_of(check))["outcome"]
        counts[check.rule] = tuple(
            int((outcome == code).sum()) for code in (CONFORMS, FAILS, UNDECIDED)
        )
        told.append(findings_of(check, frame.with_columns(outcome)))
    findings = pl.concat(told).sort(
        pl.col("grading").replace_strict(GRADINGS), "van", "tank", "since", "rule", "finding"
    )
    findings.write_ndjson(out)
    return Outcome(counts, findings)


def read_kinds(records: Path) -> dict[str, pl.DataFrame]:
    """Return the records by kind, sorted; stops at the first thing that is not in order."""
    table = pl.read_parquet(records)
    if table["record"].n_unique() != table.height:
        raise ValueError("ids are not unique")
    wrong = table.select(_wrong(name).sum().alias(name) for name in table.columns)
    if any(wrong.row(0)):
        raise ValueError(f"values out of range: {wrong.to_dicts()}")
    return {
        kind: _of_kind(kind, frame)
        for (kind,), frame in table.partition_by("kind", as_dict=True).items()
    }


def _wrong(name: str) -> pl.Expr:
    """Return where a column holds what its field cannot take; NaN counts as missing."""
    field, column = RECORD_FIELDS[name], pl.col(name)
    if isinstance(field, Quantity):
        return ~column.is_between(field.low, field.high) & ~column.is_nan()
    if isinstance(field, Word):
        return ~column.is_in(field.words)
    if isinstance(field, Identifier):
        return (column != column.str.strip_chars()) | ~column.str.len_bytes().is_between(1, 64)
    return pl.lit(value=False)


def _of_kind(kind: str, frame: pl.DataFrame) -> pl.DataFrame:
    fields = KINDS[kind].fields
    nulls = frame.null_count().row(0, named=True)
    for name, missing in nulls.items():
        if name in fields and fields[name].required and missing:
            raise ValueError(f"{kind}: {name} is required")
        if name not in fields and missing < frame.height:
            raise ValueError(f"{kind}: {name} belongs to another kind")
    kept = frame.select(name for name in frame.columns if name in fields)
    numbers = [name for name in kept.columns if kept[name].dtype == pl.Float64]
    return kept.with_columns(pl.col(numbers).fill_nan(None)).sort(KINDS[kind].item, *ORDER[1:])


def read_tanks(register: Path) -> pl.DataFrame:
    """Return van, rated pressure and rated temperature of each tank."""
    rows = yaml.load(register.read_text(), yaml.CSafeLoader)["tanks"]
    table = pl.DataFrame(rows).select("tank", "van", "rated_pressure", "rated_temperature")
    rated = pl.col("rated_pressure", "rated_temperature")
    return table.with_columns(rated.str.extract(r"^([0-9.]+)").cast(pl.Float64))


def facts_by_kind(frames: dict[str, pl.DataFrame], tanks: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """Return readings and rinses with their facts as columns."""
    charges = _charges(frames["resin_change"])
    readings = _placed(frames["reading"], tanks, charges)
    rinses = _placed(frames["rinse"], tanks, charges)
    rinses = _since_reading(_on_charge(rinses), frames["reading"])
    rinses = _asof(rinses, _standing(frames), {"open": "incident_open", "record": "standing"})
    return {
        "reading": readings,
        "rinse": rinses.with_columns(pl.col("incident_open").fill_null(value=False)),
    }


def _charges(changes: pl.DataFrame) -> pl.DataFrame:
    begun = changes.filter(pl.col("change") != "topped up")
    return begun.with_columns(pl.col("tank").cum_count().over("tank").alias("number"))


def _placed(frame: pl.DataFrame, tanks: pl.DataFrame, charges: pl.DataFrame) -> pl.DataFrame:
    """Return records with the plate of their tank and the charge in it."""
    placed = frame.join(tanks, on="tank", how="left", suffix="_registered", maintain_order="left")
    placed = placed.with_columns(pl.coalesce("van", "van_registered"))
    placed = _asof(placed, charges, {"number": "charge", "record": "change"})
    latest = charges.group_by("tank").agg(pl.col("number").max().alias("charge_now"))
    return placed.join(latest, on="tank", how="left", maintain_order="left").with_columns(
        pl.col("charge", "charge_now").fill_null(0)
    )


def _asof(frame: pl.DataFrame, rows: pl.DataFrame, take: dict[str, str]) -> pl.DataFrame:
    rows = rows.select("tank", "at", *(pl.col(name).alias(new) for name, new in take.items()))
    return frame.join_asof(rows, on="at", by="tank", check_sortedness=False)


def _on_charge(rinses: pl.DataFrame) -> pl.DataFrame:
    """Return rinses with the vehicles on their charge so far, null from an unknown count on."""
    so_far = pl.col("rinses").fill_null(float("nan")).cum_sum().over("tank", "charge")
    return rinses.with_columns(
        pl.when(pl.col("charge") > 0).then(so_far.fill_nan(None)).alias("charge_rinses")
    )


def _since_reading(rinses: pl.DataFrame, readings: pl.DataFrame) -> pl.DataFrame:
    """Return rinses with the age of the last outlet reading and the vehicles since then."""
    read = readings.filter(
        pl.col("outlet_tds").is_not_null() | pl.col("outlet_conductivity").is_not_null()
    )
    counted = rinses.select(
        "tank",
        "at",
        pl.col("rinses").fill_null(0).cum_sum().over("tank").alias("vehicles"),
        pl.col("rinses").is_null().cum_sum().over("tank").alias("gaps"),
    )
    sums = {"vehicles": "vehicles", "gaps": "gaps"}
    read = _asof(read.select("tank", "at", "record"), counted, sums).with_columns(
        pl.col("vehicles", "gaps").fill_null(0), pl.col("at").alias("instant")
    )
    then = {
        "record": "read",
        "instant": "read_at",
        "vehicles": "vehicles_then",
        "gaps": "gaps_then",
    }
    rinses = _asof(_asof(rinses, counted, sums), read, then)
    since = pl.col("vehicles") - pl.col("vehicles_then")
    return rinses.with_columns(
        last_outlet_age=(pl.col("at") - pl.col("read_at")).dt.total_microseconds() / DAY_US,
        rinses_since_reading=pl.when(pl.col("gaps") == pl.col("gaps_then")).then(since),
    )


def _standing(frames: dict[str, pl.DataFrame]) -> pl.DataFrame:
    """Return when an incident was opened, or closed by an examination."""
    fit = frames["vessel_service"].filter(pl.col("result").is_in(["fit", "fit with limits"]))
    events = [
        frame.select(*ORDER, pl.lit(opens).alias("open"))
        for frame, opens in ((fit, False), (frames["incident"], True))
    ]
    return pl.concat(events).sort("tank", "at", "open", "record")


def outcome_of(check: Check) -> pl.Expr:
    """Return the outcome of each subject."""
    codes = (CONFORMS, FAILS, UNDECIDED, NOT_APPLICABLE)
    conforms, fails, undecided, not_applicable = (pl.lit(code, pl.Int8) for code in codes)
    judged = pl.when(check.holds).then(conforms)
    if check.applies is None:
        return judged.when(~check.holds).then(fails).otherwise(undecided)
    judged = pl.when(~check.applies).then(not_applicable).when(check.holds).then(conforms)
    return judged.when(check.applies & ~check.holds).then(fails).otherwise(undecided)


def findings_of(check: Check, frame: pl.DataFrame) -> pl.DataFrame:
    """Return a row per run of subjects that do not conform or are undecided."""
    changed = pl.any_horizontal(
        pl.col(name).ne_missing(pl.col(name).shift()) for name in ("tank", "charge", "outcome")
    )
    decided = frame.select(
        *dict.fromkeys([*ORDER, "van", "charge", "charge_now", "outcome"]),
        *dict.fromkeys([*check.needs, *check.cited]),
    ).filter(pl.col("outcome") != NOT_APPLICABLE)
    runs = decided.with_columns(changed.cum_sum().alias("run")).with_columns(
        last_run=pl.col("run").max().over("tank")
    )
    bad = runs.filter(pl.col("outcome") != CONFORMS).group_by("run", maintain_order=True)
    return _told(check, bad.agg(_members(check)))


def _members(check: Check) -> list[pl.Expr]:
    last = ("tank", "van", "charge", "charge_now", "outcome", "last_run")
    return [
        pl.col("record").alias("members"),
        pl.col("at").first().alias("since"),
        pl.col("at").last().alias("until"),
        *(pl.col(name).last() for name in dict.fromkeys([*last, *check.needs, *check.cited])),
    ]


def _told(check: Check, runs: pl.DataFrame) -> pl.DataFrame:
    fails = pl.col("outcome") == FAILS
    subject = pl.col("members").list.first()
    missing = pl.concat_list(
        pl.when(pl.col(name).is_null()).then(pl.lit(name)) for name in check.needs
    ).list.drop_nulls()
    why = pl.lit("Could not be decided: ") + missing.list.join(", ") + pl.lit(" not recorded.")
    evidence = pl.concat_list("members", *check.cited).list.drop_nulls()
    return runs.select(
        (pl.lit(f"bench/{check.rule}/{check.kind}/") + subject).alias("finding"),
        pl.lit(check.rule).alias("rule"),
        pl.lit(check.grading).alias("grading"),
        pl.when(fails).then(pl.lit("does not conform")).otherwise(pl.lit("undecided")).alias("as"),
        subject.alias("subject"),
        "van",
        "tank",
        "since",
        "until",
        pl.struct(*check.needs).struct.json_encode().alias("measured"),
        pl.lit(str(check.limits)).alias("limits"),
        missing.alias("missing"),
        evidence.list.unique(maintain_order=True).alias("evidence"),
        pl.when(fails).then(check.message).otherwise(why).alias("message"),
        pl.lit(check.correction).alias("correction"),
        ((pl.col("run") == pl.col("last_run")) & (pl.col("charge") == pl.col("charge_now"))).alias(
            "stands"
        ),
    )


def _shown(name: str) -> pl.Expr:
    return pl.col(name).round_sig_figs(4).cast(pl.String).fill_null("not recorded")


def _outlet_below(rule: str, grading: str, limit: float, correction: str) -> Check:
    return Check(
        rule,
        "reading",
        grading,
        pl.col("outlet_tds") < limit * (1 - SLACK),
        ("sampled", "outlet_tds"),
        {"limit": limit},
        pl.format(
            "Outlet water of {} read {} mg/L; the limit is {}.",
            "tank",
            _shown("outlet_tds"),
            pl.lit(f"{limit:g} mg/L"),
        ),
        correction,
        applies=pl.col("sampled") == "flowing",
    )


CHECKS = (
    _outlet_below("outlet-below-early-warning", "advice", 10, "Plan the resin change."),
    _outlet_below("outlet-below-house-limit", "minor", 20, "Finish, then change the resin."),
    _outlet_below("outlet-below-stop-limit", "major", 30, "Stop and change the resin."),
    Check(
        "outlet-not-above-inlet",
        "reading",
        "minor",
        pl.col("outlet_tds") <= pl.col("inlet_tds") * (1 + SLACK),
        ("sampled", "outlet_tds", "inlet_tds"),
        {},
        pl.format(
            "Outlet water of {} read {} mg/L, its inlet {} mg/L.",
            "tank",
            _shown("outlet_tds"),
            _shown("inlet_tds"),
        ),
        "Check the hoses and the meter.",
        applies=pl.col("sampled") == "flowing",
    ),
    Check(
        "water-not-too-warm",
        "reading",
        "major",
        pl.col("water_temperature") <= pl.col("rated_temperature") * (1 + SLACK),
        ("water_temperature", "rated_temperature"),
        {},
        pl.format(
            "Water of {} degC ran into {}, rated for {} degC.",
            _shown("water_temperature"),
            "tank",
            _shown("rated_temperature"),
        ),
        "Stop, let the tank cool and have it examined.",
    ),
    Check(
        "pressure-within-plate",
        "rinse",
        "major",
        pl.col("inlet_pressure") <= pl.col("rated_pressure") * (1 + SLACK),
        ("inlet_pressure", "rated_pressure"),
        {},
        pl.format(
            "Tank {} saw {} kPa; its plate says {} kPa.",
            "tank",
            _shown("inlet_pressure"),
            _shown("rated_pressure"),
        ),
        "Stop, release the pressure and fit a regulator.",
    ),
    Check(
        "outlet-read-in-time",
        "rinse",
        "minor",
        pl.col("last_outlet_age") <= 1 + SLACK,
        ("last_outlet_age",),
        {"longest_silence": 1},
        pl.format(
            "The outlet of {} was last read {} d before; 1 d are allowed.",
            "tank",
            _shown("last_outlet_age"),
        ),
        "Read the outlet before the next vehicle.",
        cited=("read",),
    ),
    Check(
        "outlet-read-often-enough",
        "rinse",
        "minor",
        pl.col("rinses_since_reading") <= 10 * (1 + SLACK),
        ("rinses_since_reading",),
        {"most_rinses": 10},
        pl.format(
            "From {} {} vehicles were rinsed since its outlet was read.",
            "tank",
            _shown("rinses_since_reading"),
        ),
        "Read the outlet before the next vehicle.",
        cited=("read",),
    ),
    Check(
        "no-rinse-after-incident",
        "rinse",
        "major",
        ~pl.col("incident_open"),
        ("incident_open",),
        {},
        pl.format("Tank {} was used although an incident is open.", "tank"),
        "Take it out of use until a competent person has examined it.",
        cited=("standing",),
    ),
    Check(
        "charge-not-overused",
        "rinse",
        "advice",
        pl.col("charge_rinses") <= 100 * (1 + SLACK),
        ("charge_rinses",),
        {"planned": 100},
        pl.format(
            "On this charge of {} {} vehicles were rinsed; 100 are planned.",
            "tank",
            _shown("charge_rinses"),
        ),
        "Plan the resin change.",
        cited=("change",),
    ),
)
