"""What stands of a vessel's services: which of them settles what an earlier one left open.

A service is visual, periodic or hydrostatic, each stronger than the one before. What one found is
settled only by a later one of the same or a stronger kind that found the vessel fit, on another
authority than the operator's own policy, by a competent person. A service of which part of this
is not on record may have settled it: then nobody can tell.
"""

import polars as pl

from qa_engine.facts.past import Past

FIT = ("fit", "fit with limits")
"""The results of a vessel service after which the vessel may be used."""

STRENGTHS = {name: n for n, name in enumerate(("visual", "periodic", "hydrostatic"))}
"""How strong each kind of service is."""

STRONGEST = max(STRENGTHS.values())
OWN_POLICY = "operator policy"
CAUTION = {"fit": 0, "fit with limits": 1, None: 2, "unfit": 3}
"""The order in which results at one instant count: what is to be feared most comes last."""

STANDING = ("unfit", "unknown", "fit with limits", "fit")
"""What can stand of a vessel, that to be feared most first."""

COLUMNS = ("tank", "at", "record", "service", "authority", "competent_person", "result")
_NEVER = -1


def closes_an_incident() -> pl.Expr:
    """Return whether a service is an examination that found the vessel fit; null is not known.

    A visual look is an examination only if it states both an authority other than operator policy
    and a competent person: what crews do of themselves closes nothing.
    """
    backed = _on_outside_authority() & _by_competent_person()
    visual = (pl.col("service") == "visual").fill_null(value=False)
    return pl.when(visual).then(backed.fill_null(value=False)).otherwise(backed) & _found_fit()


def _settles(strength: int) -> pl.Expr:
    """Return whether a service settles what one of some strength left open; null is not known."""
    backed = _on_outside_authority() & _by_competent_person() & _found_fit()
    return (_strength() >= strength) & backed if strength else backed


def _strength() -> pl.Expr:
    return pl.col("service").replace_strict(STRENGTHS, return_dtype=pl.Int8, default=None)


def _on_outside_authority() -> pl.Expr:
    return pl.col("authority") != OWN_POLICY


def _by_competent_person() -> pl.Expr:
    return pl.when(pl.col("competent_person").is_not_null()).then(statement=True)


def _found_fit() -> pl.Expr:
    return pl.col("result").is_in(FIT)


def results_after_each(past: Past) -> pl.DataFrame:
    """Return what stands of each vessel after each of its services, sorted by (tank, at).

    Unfit stands until it is settled, and so does a periodic or hydrostatic service without a
    result, which leaves the result unknown. A service that does not say of which kind it was
    counts as the strongest where it found the vessel unfit or states no result. A fit with limits
    stands until a service of the same or a stronger kind found the vessel fit without.

    Returns:
        A frame of ``tank``, ``at``, ``result`` (null where it is not known, or none was stated)
        and ``record``, the service that it comes from.
    """
    services = past.history.of("vessel_service", *COLUMNS)
    caution = pl.col("result").replace_strict(CAUTION, return_dtype=pl.Int8)
    row = pl.int_range(pl.len(), dtype=pl.Int64).alias("row")
    services = services.sort("tank", "at", caution, "record").with_columns(row)
    by_strength = [_standing(strength) for strength in STRENGTHS.values()]
    rows = services.select(
        *(pl.max_horizontal(one[name] for one in by_strength).alias(name) for name in STANDING[:3]),
        fit=_last(_found_fit()),
    )
    names = [pl.when(pl.col(name) != _NEVER).then(pl.lit(name)) for name in STANDING]
    places = [pl.when(pl.col(name) != _NEVER).then(name) for name in STANDING]
    found = rows.select(result=pl.coalesce(names).replace("unknown", None), row=pl.coalesce(places))
    return services.select("tank", "at").with_columns(
        found["result"], services["record"].gather(found["row"])
    )


def _standing(strength: int) -> dict[str, pl.Expr]:
    """Return by result the last row that left it standing, of services of one strength."""
    mine = _strength().fill_null(STRONGEST) == strength
    result = pl.col("result")
    unfit, settled = _last(mine & (result == "unfit")), _last(_settles(strength))
    perhaps = _last(_settles(strength).is_null())
    blank = _last(mine & result.is_null()) if strength else pl.lit(_NEVER, pl.Int64)
    limited = _last(mine & (result == "fit with limits"))
    whole = _last((_strength() >= strength).fill_null(strength == 0) & (result == "fit"))
    doubted = (unfit > settled) & (perhaps > unfit)
    return {
        "unfit": _if((unfit > settled) & ~doubted, unfit),
        "unknown": pl.max_horizontal(_if(doubted, perhaps), _if(blank > settled, blank)),
        "fit with limits": _if(limited > whole, limited),
    }


def _last(holds: pl.Expr) -> pl.Expr:
    """Return for each row the last row of its tank up to it for which something holds."""
    return pl.when(holds).then("row").forward_fill().over("tank").fill_null(_NEVER)


def _if(stands: pl.Expr, row: pl.Expr) -> pl.Expr:
    return pl.when(stands).then(row).otherwise(_NEVER)
