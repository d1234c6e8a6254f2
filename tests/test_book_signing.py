"""Signed tree heads and the keys that sign them."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from cryptography.hazmat.primitives.asymmetric.ec import SECP256R1, generate_private_key
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

from qa_engine.book.keys import make_key, read_key
from qa_engine.book.signing import (
    SignedHead,
    is_signature,
    public_bytes,
    read_head,
    sign,
)
from qa_engine.errors import BookError

# RFC 8032, section 7.1, tests 1 to 3: secret key, public key, message, signature.
VECTORS = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
        "f9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0"
        "f11d8c387b2eaeb4302aeeb00d291612bb0c00",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f76098"
        "4dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
)
KEY = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(VECTORS[0][0]))
NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
HEAD = SignedHead("b00c", 12, bytes(range(32)), NOON, b"")


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_signatures_are_those_that_were_published(secret, public, message, signature):
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert public_bytes(key).hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    known = bytes.fromhex(public), bytes.fromhex(signature)
    assert is_signature(*known, bytes.fromhex(message))
    assert not is_signature(*known, bytes.fromhex(message) + b"x")


def test_what_is_signed_is_the_canonical_json_of_the_rest():
    head = sign(HEAD, KEY)
    assert head.signed.decode() == (
        '{"book":"b00c","form":"signed tree head 1",'
        '"key":"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",'
        '"root":"000102030405060708090a0b0c0d0e0f101112131415161718191a1b1c1d1e1f",'
        '"size":12,"time":"2026-03-01T12:00:00.000000Z"}'
    )
    assert is_signature(head.key, head.signature, head.signed)


@pytest.mark.parametrize("head", [HEAD, replace(HEAD, since=3, proof=(bytes(32), b"\x01" * 32))])
def test_a_head_reads_back_as_it_was_kept(head):
    signed = sign(head, KEY)
    assert read_head(signed.text) == signed
    assert read_head(signed.text).is_genuine
    east = replace(head, time=NOON.astimezone(timezone(timedelta(hours=2))))
    assert sign(east, KEY).text == signed.text


@pytest.mark.parametrize(
    "change",
    [
        {"book": "b00d"},
        {"size": 11},
        {"root": "ff" * 32},
        {"time": "2026-03-02T12:00:00Z"},
        {"key": VECTORS[1][1]},
        {"signature": "00" * 64},
        {"since": 2, "proof": []},
    ],
    ids=lambda change: next(iter(change)),
)
def test_a_head_that_was_altered_is_not_genuine(change):
    kept = json.loads(sign(HEAD, KEY).text)
    assert not read_head(json.dumps(kept | change)).is_genuine


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"size": -1}, "-1 is not a number of entries"),
        ({"size": True}, "True is not a number of entries"),
        ({"root": "ff"}, "expected 32 bytes in hexadecimal, found 1"),
        ({"time": "yesterday"}, "yesterday"),
        ({"time": "2026-03-02T12:00:00"}, "has no offset"),
        ({"proof": 3, "since": 1}, "int"),
        ({"form": "tree head 2"}, 'expected "form": "signed tree head 1"'),
        ({"colour": "red"}, "colour is missing or does not belong there"),
    ],
)
def test_a_text_that_is_no_head_is_refused_with_the_reason(change, says):
    kept = json.loads(sign(HEAD, KEY).text)
    with pytest.raises(BookError, match=f"^march.json: .*{says}"):
        read_head(json.dumps(kept | change), "march.json")


@pytest.mark.parametrize("text", ["", "[]", "{}", "[" * 100_001, '{"form": "signed tree head 1"}'])
def test_any_other_text_is_refused(text):
    with pytest.raises(BookError, match="the head: "):
        read_head(text)


def test_a_key_is_for_its_owner_only_and_never_overwritten(tmp_path):
    path = tmp_path / "operator.key"
    key = make_key(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert public_bytes(read_key(path)) == public_bytes(key)
    with pytest.raises(BookError, match="never overwritten"):
        make_key(path)
    path.chmod(0o640)
    with pytest.raises(BookError, match="chmod 600"):
        read_key(path)


def test_a_file_that_is_no_such_key_is_refused(tmp_path):
    path = tmp_path / "other.key"
    with pytest.raises(BookError, match="cannot read the key"):
        read_key(path)
    with pytest.raises(BookError, match="cannot write the key"):
        make_key(tmp_path / "nowhere" / "operator.key")
    path.write_text("nothing")
    path.chmod(0o600)
    with pytest.raises(BookError, match="no private key in PEM"):
        read_key(path)
    other = generate_private_key(SECP256R1())
    path.write_bytes(other.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    with pytest.raises(BookError, match="expected Ed25519"):
        read_key(path)
