"""Words that people write over the columns of their tables, in English and German.

Common practice, no published source; what is not recognised is left out and said so.
"""

import re
from typing import NamedTuple

from qa_engine.intake.column_map.column_map import DAY, TIME
from qa_engine.intake.column_map.unit_words import UNIT_WORDS
from qa_engine.records import KINDS, RECORD_FIELDS


class Meaning(NamedTuple):
    """What a head means: a field, for an instant perhaps only a part of it."""

    field: str
    part: str = ""


EITHER_WATER = "inlet_tds or outlet_tds"
"""What a head means that does not say on which side of the tank."""

_IN = r"\b(in|inlet|feed|tap|raw|eingang|zulauf|rohwasser|ein)\b"
_OUT = r"\b(out|outlet|product|ausgang|ablauf|reinwasser|aus)\b"
_DISSOLVED = r"tds|ppm|conductiv|leitwert|leitf[aä]h|[uµμ]s\b|[uµμ]s/cm"

_HEADS: tuple[tuple[str, str], ...] = (
    ("note", r"\b(notes?|remarks?|comments?|bemerkung(en)?|anmerkung(en)?|notiz(en)?)\b"),
    ("next_due", r"next due|due next|n[aä]chste pr[uü]fung"),
    ("standard_use_by", r"use by|expiry|expires|haltbar"),
    ("standard_lot", r"standard lot|lot of (the )?standard"),
    ("standard_conductivity", r"\bstandard\b|pr[uü]fl[oö]sung"),
    ("shown_before", r"(shown|read|anzeige).*(before|vorher)"),
    ("shown_after", r"(shown|read|anzeige).*(after|nachher)"),
    ("outlet_tds_before", rf"({_DISSOLVED}).*\b(before|vorher)\b"),
    ("outlet_tds_before", rf"\b(before|vorher)\b.*({_DISSOLVED})"),
    ("outlet_tds_after", rf"({_DISSOLVED}).*\b(after|nachher)\b"),
    ("outlet_tds_after", rf"\b(after|nachher)\b.*({_DISSOLVED})"),
    ("inlet_tds", rf"({_DISSOLVED}).*{_IN}|{_IN}.*({_DISSOLVED})"),
    ("outlet_tds", rf"({_DISSOLVED}).*{_OUT}|{_OUT}.*({_DISSOLVED})"),
    ("counter", r"water meter|counter|z[aä]hler(stand)?|totali[sz]er|meter reading"),
    ("resin_mass", r"resin (mass|weight)|harz(masse|gewicht)"),
    ("resin_volume", r"resin (vol|amount|qty|added|in|used)|harz(menge|volumen)|^(resin|harz)\b"),
    ("grade", r"resin (type|grade|kind)|harz(typ|sorte|art)|\bgrade\b"),
    ("lot", r"\b(lot|batch|charge)\b"),
    ("leak_seen", r"leak|leck|undicht"),
    ("flush_time", r"flush|sp[uü]lzeit"),
    ("freeboard", r"freeboard|freiraum"),
    ("depressurised", r"depressuri[sz]ed|pressure released|drucklos"),
    ("isolated", r"isolated|supply shut|abgesperrt"),
    ("riser_checked", r"riser|steigrohr"),
    ("head_closed_to_instruction", r"head closed|kopf verschlossen"),
    ("sealing_faces_clean", r"sealing faces|dichtfl[aä]chen"),
    ("change", r"\bchange\b|wechselart|art des wechsels"),
    ("seal_material", r"seal material|dichtungsmaterial"),
    ("lubricant", r"lubricant|grease|fett"),
    ("replaced", r"replaced|ersetzt|getauscht"),
    ("seal", r"\bseal\b|o-?ring|dichtung"),
    ("static_pressure", r"static|ruhedruck"),
    ("inlet_pressure", r"press|druck"),
    ("flow", r"\bflow|durchfluss"),
    ("water_temperature", r"temp"),
    ("vehicle_class", r"vehicle (class|type)|(class|type) of vehicle|fahrzeug(art|typ|klasse)"),
    ("rinsed_again", r"rinsed again|nochmal gesp"),
    ("rinses", r"\b(rinses|count|qty|quantity|vehicles|washed|rinsed)\b|# of|no\. of"),
    ("rinses", r"\b(anzahl|st[uü]ck)\b"),
    ("water_used", r"\b(water|gallons|litres|liters|liter|usage|wasser|verbrauch)\b|wasserverbr"),
    ("job", r"\b(job|work order|ticket|auftrag)\b"),
    ("meter", r"\b(meter|tds pen|messger[aä]t)\b"),
    ("sampled", r"sampled?\b|probenahme"),
    ("colour_front", r"colou?r"),
    ("base", r"\b(base|depot|yard|hof|standort)\b"),
    ("destination", r"destination|disposed (to|at)|ziel"),
    ("carrier", r"carrier|haulier|spediteur"),
    ("waste_code", r"waste code|abfallschl"),
    ("document", r"document|waste note|begleitschein"),
    ("purpose", r"purpose|zweck"),
    ("tank", r"\b(tank|vessel|cylinder|bottle|flasche|patrone|beh[aä]lter)\b"),
    ("van", r"\b(van|truck|rig|transporter|wagen)\b"),
    ("by", r"\b(by|crew|operator|driver|tech(nician)?|initials|name)\b"),
    ("by", r"\b(fahrer|k[uü]rzel|mitarbeiter)\b"),
    ("kind", r"^(what|activity|event|entry|work done|what was done)$"),
    ("kind", r"^(vorgang|t[aä]tigkeit|ereignis)$"),
    ("vehicle_class", r"^(vehicle|class|type|fahrzeug|klasse|typ)$"),
    (EITHER_WATER, _DISSOLVED),
)

_WHOLE_MOMENT = r"date ?(/|&|and|\+) ?time|timestamp|datetime|datum ?(/|und|\+) ?(uhr)?zeit|^when$"
_DAY_HEAD = r"\b(date|datum|day|tag)\b"
_TIME_HEAD = r"\b(time|uhrzeit|zeit|clock)\b"

KIND_WORDS = {
    "reading": "reading readings tds check messung messungen ablesung messwert",
    "rinse": "rinse rinses wash washes rinsed washed spülung spülungen wäsche waschen",
    "resin_change": "resin refill recharge harzwechsel harz",
    "seal_service": "seal seals o-ring dichtung dichtungen",
    "vessel_service": "inspection hydrotest examination prüfung druckprüfung",
    "meter_check": "calibration calibrated kalibrierung",
    "disposal": "disposal disposed entsorgung",
    "incident": "incident drop dropped freeze frozen leak unfall sturz",
    "complaint": "complaint complaints spots reklamation",
    "water_analysis": "analysis lab wasseranalyse",
}
"""Words for the kinds of record, as crews write them."""

_TOTALS = "total totals sum subtotal average avg mean carried summe gesamt zwischensumme"
TOTALS = (*_TOTALS.split(), "mittelwert", "durchschnitt", "übertrag")
"""Words that begin a row of totals."""

SILENT = ("-", "--", "---", "\N{EN DASH}", "\N{EM DASH}", "n/a", "na", "k.a.", "k. a.", "?")
"""What people write where there is nothing to write."""

YES_WORDS = ("yes", "y", "ja", "j", "x", "ok", "true", "\N{CHECK MARK}", "\N{HEAVY CHECK MARK}")
NO_WORDS = ("no", "n", "nein", "false", "0")

WORDS = {
    "flowing": "flowing running fließend laufend",
    "first flush": "first-flush vorlauf",
    "standing": "standing stehend",
    "emptied and refilled": "refill refilled full-change emptied neu-befüllt",
    "topped up": "top-up topped nachgefüllt",
    "tank exchanged": "exchange exchanged swap swapped tausch",
    "regenerated elsewhere": "regenerated regen regeneriert",
    "none": "none no nein keins keine ok",
    "head": "head kopf",
    "riser": "riser steigrohr",
    "port": "port anschluss",
    "silicone": "silicone silikon",
    "petroleum": "petroleum vaseline",
}
"""Words for our words, as crews write them; a hyphen stands for a space."""

_TOO_SHORT = {"in", "c", "f", "g", "h", "s", "d", "m", "l", "lt", "min", "ms", "us", "na"}
"""Units that only count in brackets, for they are words or parts of words too."""


def meaning_of(head: str) -> Meaning | None:
    """Return what a head means, or nothing if it is not known."""
    plain = re.sub(r"[_\s]+", " ", head.casefold()).strip()
    name = re.sub(r"\W+", "_", re.sub(r"[\[(].*?[\])]", "", plain).strip())
    if name in RECORD_FIELDS and name not in ("kind", "record", "at"):
        return Meaning(name)
    if name in ("record", "record_id", "kind", "at"):
        return Meaning(name.removesuffix("_id"))
    if re.search(_WHOLE_MOMENT, plain):
        return Meaning("at")
    for pattern, part in ((_DAY_HEAD, DAY), (_TIME_HEAD, TIME)):
        if re.search(pattern, plain) and not re.search(r"flush|due|use by", plain):
            return Meaning("at", part)
    return next((Meaning(field) for field, one in _HEADS if re.search(one, plain)), None)


def units_in(head: str) -> list[str]:
    """Return the units that a head names, those in brackets first."""
    folded = head.casefold()
    in_brackets = [one.strip() for one in re.findall(r"[\[(]([^\])]*)[\])]", folded)]
    tokens = re.split(r"[\s,;:/()\[\]]+", folded)
    alone = [one for one in tokens if one not in _TOO_SHORT]
    slashed = re.findall(r"\S+/\S+", folded)
    written = [*in_brackets, *slashed, *alone]
    return list(dict.fromkeys(UNIT_WORDS[one] for one in written if one in UNIT_WORDS))


def kind_of(words: str) -> str:
    """Return the kind of record that some words mean, or nothing if none or several."""
    folded = re.sub(r"[_\s]+", " ", words.casefold()).strip()
    if folded.replace(" ", "_") in KINDS:
        return folded.replace(" ", "_")
    found = set(re.findall(r"[\w-]+", folded))
    kinds = [kind for kind, known in KIND_WORDS.items() if found & set(known.split())]
    return kinds[0] if len(kinds) == 1 else ""


def our_word(theirs: str, ours: tuple[str, ...]) -> str:
    """Return which of our words theirs means, or nothing if none or several."""
    folded = theirs.casefold().strip()
    if folded in ours:
        return folded
    meant = [
        word
        for word in ours
        if folded.replace(" ", "-") in WORDS.get(word, "").split() or folded == word.casefold()
    ]
    return meant[0] if len(meant) == 1 else ""
