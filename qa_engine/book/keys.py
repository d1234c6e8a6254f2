"""The private key that signs tree heads: a file that only its owner may read."""

import os
import stat
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)

from qa_engine.errors import BookError

OWNER_ONLY = stat.S_IRUSR | stat.S_IWUSR
OTHERS = stat.S_IRWXG | stat.S_IRWXO


def make_key(path: Path) -> Ed25519PrivateKey:
    """Make a new key and write it to a file that only its owner may read and write.

    Raises:
        BookError: the file is there already, or cannot be written.
    """
    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, OWNER_ONLY)
    except FileExistsError:
        raise BookError(f"{path} is there already; a key is never overwritten") from None
    except OSError as error:
        raise BookError(f"cannot write the key {path}: {error.strerror}") from None
    with os.fdopen(handle, "wb") as stream:
        stream.write(pem)
        stream.flush()
        os.fsync(handle)
    return key


def read_key(path: Path) -> Ed25519PrivateKey:
    """Read a key.

    Raises:
        BookError: there is none, it is of another kind, or others may read it.
    """
    try:
        mode, pem = path.stat().st_mode, path.read_bytes()
    except OSError as error:
        raise BookError(f"cannot read the key {path}: {error.strerror}") from None
    if os.name == "posix" and mode & OTHERS:
        raise BookError(f"others may read the key {path}; `chmod 600 {path}`, or make a new one")
    try:
        key = load_pem_private_key(pem, password=None)
    except (ValueError, TypeError):
        raise BookError(f"{path} is no private key in PEM without a password") from None
    if not isinstance(key, Ed25519PrivateKey):
        raise BookError(f"{path} is a key of another kind; expected Ed25519")
    return key
