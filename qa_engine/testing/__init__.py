"""The kit for whoever writes a plugin: laws that every right resin model and fact keeps.

A test file of a few lines tries them all on a model::

    @pytest.mark.parametrize("law", MODEL_LAWS, ids=str)
    def test_the_model_keeps(law):
        law.check(TidalGrey())

or all at once with ``check_model(TidalGrey())``; ``FACT_LAWS`` and ``check_facts`` do so for a
group of facts. A law that is broken says what is wrong, which
smallest input shows it, and what would do. Inputs are drawn with hypothesis, alike in every run.
"""

from qa_engine.depletion import ResinModel
from qa_engine.facts import FactGroup
from qa_engine.testing.fact_laws import FACT_LAWS
from qa_engine.testing.grade_laws import GRADE_LAWS
from qa_engine.testing.kind_laws import KIND_LAWS
from qa_engine.testing.law import BrokenLawError, Law, breaches, check_all
from qa_engine.testing.load_laws import LOAD_LAWS
from qa_engine.testing.outlet_laws import OUTLET_LAWS
from qa_engine.testing.purity_laws import PURITY_LAWS

MODEL_LAWS: tuple[Law[ResinModel], ...] = (
    *GRADE_LAWS,
    *KIND_LAWS,
    *PURITY_LAWS,
    *LOAD_LAWS,
    *OUTLET_LAWS,
)
"""Every law of a resin model, the plainest first."""

__all__ = [
    "FACT_LAWS",
    "MODEL_LAWS",
    "BrokenLawError",
    "Law",
    "breaches_of_facts",
    "breaches_of_model",
    "check_facts",
    "check_model",
]


def breaches_of_model(model: ResinModel) -> tuple[BrokenLawError, ...]:
    """Return the first breach of each law that a model does not keep."""
    return breaches(MODEL_LAWS, model)


def check_model(model: ResinModel) -> None:
    """Try every law on a model.

    Raises:
        AssertionError: lists every law that is broken.
    """
    check_all(MODEL_LAWS, model)


def breaches_of_facts(group: FactGroup) -> tuple[BrokenLawError, ...]:
    """Return the first breach of each law that a group of facts does not keep."""
    return breaches(FACT_LAWS, group)


def check_facts(group: FactGroup) -> None:
    """Try every law on a group of facts.

    Raises:
        AssertionError: lists every law that is broken.
    """
    check_all(FACT_LAWS, group)
