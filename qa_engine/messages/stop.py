"""The stop message: what newly stands in the way of a tank or van, told to its crew at once."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace
from hashlib import sha256

from qa_engine.book.lookout import FleetState
from qa_engine.messages.message import STOP, Channel, Message
from qa_engine.messages.places import (
    CLOSING,
    Whereabouts,
    as_text,
    clock,
    standing_jobs,
    subject_line,
    told_job,
)
from qa_engine.report.jobs import Job

Channels = Mapping[str, tuple[Channel, ...]]
"""Where messages go, by the name of a base or van."""


def stops_of(state: FleetState) -> list[Job]:
    """Return the jobs at tanks and vans with a major finding that stands without permission.

    Only what is major is left of their findings.
    """
    jobs = standing_jobs(state)
    return [_major(job) for job in jobs if job.grading == "major" and (job.tank or job.van)]


def identities(jobs: Iterable[Job]) -> set[str]:
    """Return the identities of the findings of jobs."""
    return {finding["finding"] for job in jobs for finding in job.findings}


def stop_messages(
    state: FleetState, new: Collection[str], bases: Channels, vans: Channels
) -> list[Message]:
    """Return the messages that tell crews of new findings, one per job and channel.

    A stop goes to the van's channels and to those of its base. Where nobody knows the base, or
    nobody is told there, it goes to every base: better told to many than to none.

    Args:
        state: what the rules say.
        new: the identities of the findings that nobody has been told of.
        bases: where messages of a base go.
        vans: where messages of a van go.
    """
    where = Whereabouts(state)
    return [
        _message(state, job, new, to)
        for job in stops_of(state)
        if not identities([job]).isdisjoint(new)
        for to in dict.fromkeys(_channels(job, where, bases, vans))
    ]


def _channels(job: Job, where: Whereabouts, bases: Channels, vans: Channels) -> Iterator[Channel]:
    base = where.of(job.findings[0])
    yield from vans.get(job.van or "", ())
    if base is not None and base in bases:
        yield from bases[base]
    elif base is None or job.van not in vans:
        for channels in bases.values():
            yield from channels


def _major(job: Job) -> Job:
    return replace(job, findings=tuple(one for one in job.findings if one["grading"] == "major"))


def _message(state: FleetState, job: Job, new: Collection[str], to: Channel) -> Message:
    # What went and came back is told anew, so the look belongs to the identity.
    seen = (str(state.entries), state.as_of.isoformat())
    told = "\n".join([*sorted(identities([job]) & set(new)), *seen])
    where = f"Do not rinse from {job.place}" if job.tank else f"Something must stop at {job.place}"
    first = f"{where} until this is done. As of {clock(state.as_of, state)}."
    text = as_text([first, "", *told_job(job), "", CLOSING])
    identity = f"{STOP}/{sha256(told.encode()).hexdigest()[:32]}"
    return Message(identity, to, subject_line(f"Stop: {job.place}"), text)
