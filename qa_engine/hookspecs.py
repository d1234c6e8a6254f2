"""The plugin author's manual: three hooks, all optional.

A plugin is a module or object named by an entry point of the group ``qa_engine``. Implement any
of the hooks below and mark each with ``hookimpl``::

    from qa_engine.hookspecs import hookimpl

    @hookimpl
    def qa_resin_models():
        return [MyModel()]

Each implementation is called once, when the plugin host opens, by itself and behind its own wall:
if it raises, or returns something else than is asked for here, the run goes on without this
plugin, the rules that need it become undecided and say why, and the exit status is 3.
"""

from collections.abc import Iterable
from importlib.resources.abc import Traversable

import pluggy

from qa_engine.depletion.model import ResinModel
from qa_engine.facts.fact import FactGroup

PROJECT = "qa_engine"

hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def qa_resin_models() -> Iterable[ResinModel]:
    """Offer models that predict how the resin of a grade is used up.

    Called before any rule set is read. Return finished models: pure, vectorised over numpy arrays,
    without files or clock. ``qa_engine.depletion.ResinModel`` says what a model answers. Two models
    for one grade are refused, whichever plugins they come from: a verdict must not hang on the
    order in which plugins load.
    """


@hookspec
def qa_facts() -> Iterable[FactGroup]:
    """Offer facts that rules may name.

    Called before any rule set is read. Return groups of facts, each with the one function that
    finds them for a whole frame of subjects at once; ``qa_engine.facts.FactGroup`` says what the
    function gets and returns. A fact whose name the same subject already has is refused.
    """


@hookspec
def qa_rule_folders() -> Iterable[Traversable]:
    """Offer folders with rule sets, every ``*.yaml`` file in them being one edition of a set.

    Called before any rule set is read; the files are read when an inspection starts, unless the
    operator names rules of its own with ``--rules``. Use ``importlib.resources.files`` so that a
    folder is found in a checkout and in an installed package alike.
    """
