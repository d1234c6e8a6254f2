"""Facts: the named, unit-bearing properties of subjects that rules speak about."""

from qa_engine.facts.charge_facts import CHARGE_FACTS
from qa_engine.facts.entry_facts import ENTRY_FACTS
from qa_engine.facts.fact import EVENT_SUBJECTS, STATE_SUBJECTS, SUBJECTS, Fact, FactGroup
from qa_engine.facts.grade_facts import GRADE_FACTS
from qa_engine.facts.incident_facts import INCIDENT_FACTS
from qa_engine.facts.learnt_facts import LEARNT_FACTS
from qa_engine.facts.meter_facts import METER_FACTS
from qa_engine.facts.reading_facts import READING_FACTS
from qa_engine.facts.register_facts import REGISTER_FACTS
from qa_engine.facts.resin_held_facts import RESIN_HELD_FACTS
from qa_engine.facts.seal_facts import SEAL_FACTS
from qa_engine.facts.uncertainty_facts import UNCERTAINTY_FACTS
from qa_engine.facts.use_facts import USE_FACTS
from qa_engine.facts.van_facts import VAN_FACTS
from qa_engine.facts.vessel_facts import VESSEL_FACTS
from qa_engine.facts.water_facts import WATER_FACTS

ENGINE_FACTS: tuple[FactGroup, ...] = (
    *REGISTER_FACTS,
    *GRADE_FACTS,
    *CHARGE_FACTS,
    *LEARNT_FACTS,
    *WATER_FACTS,
    *READING_FACTS,
    *SEAL_FACTS,
    *VESSEL_FACTS,
    *INCIDENT_FACTS,
    *USE_FACTS,
    *METER_FACTS,
    *VAN_FACTS,
    *RESIN_HELD_FACTS,
    *UNCERTAINTY_FACTS,
    *ENTRY_FACTS,
)
"""The facts that the engine itself finds, beside the fields of the records."""

__all__ = [
    "ENGINE_FACTS",
    "EVENT_SUBJECTS",
    "STATE_SUBJECTS",
    "SUBJECTS",
    "Fact",
    "FactGroup",
]
