"""Even numbers between 0 and 1, mixed from ids: the same on every machine and in every order."""

from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
from numpy.typing import NDArray

from qa_engine.depletion.model import Floats

Wholes = NDArray[np.uint64]

STEP = np.uint64(0x9E3779B97F4A7C15)
"""2**64 over the golden ratio, made odd: its multiples visit every number of 64 bits."""

MIXERS = ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB))
"""Shifts and factors that mix a number, and after them a shift by 31.

From G. L. Steele, D. Lea, C. H. Flood, Fast splittable pseudorandom number generators, OOPSLA
2014, variant by D. Stafford (from memory).
"""

BITS = 52
"""Binary digits of a drawn number; with the half added it is still exact."""


def seeds_of(ids: Iterable[str], purpose: str) -> Wholes:
    """Return a number per id, other ones for each purpose."""
    digests = (blake2b(f"{purpose} {one}".encode(), digest_size=8).digest() for one in ids)
    return np.array([int.from_bytes(digest, "big") for digest in digests], np.uint64)


def drawn(seeds: Wholes, *shape: int) -> Wholes:
    """Return numbers of ``BITS`` binary digits, evenly spread, of the shape (seeds, *shape)."""
    counter = np.arange(1, int(np.prod(shape)) + 1, dtype=np.uint64).reshape(shape)
    mixed: Wholes = seeds.reshape(-1, *(1,) * len(shape)) + counter * STEP
    for shift, factor in MIXERS:
        mixed = (mixed ^ (mixed >> np.uint64(shift))) * np.uint64(factor)
    mixed ^= mixed >> np.uint64(31)
    return mixed >> np.uint64(64 - BITS)


def shares(numbers: Wholes) -> Floats:
    """Return drawn numbers as numbers above 0 and below 1."""
    return np.asarray((numbers + 0.5) / 2.0**BITS, np.float64)
