"""Encrypting a file in pieces with a passphrase: AES-256-GCM, each piece bound to its place and to being the
last.

The layout follows the STREAM construction (Hoang, Reyhanitabar, Rogaway, Vizár 2015, "Online
authenticated-encryption and its nonce-reuse misuse-resistance"): nonce = 7 random bytes, a 4-byte counter,
one byte that marks the last piece.
"""

from __future__ import annotations

import os
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.scrypt import Scrypt

__all__ = ["MAGIC", "SealFault", "is_sealed", "seal", "unseal"]

MAGIC = b"CLINIC-SEALED-1\n"
PIECE = 1024 * 1024
TAG = 16


class SealFault(ValueError):
    """The file cannot be opened: wrong passphrase, altered, or cut."""


def _key(passphrase: str, salt: bytes) -> bytes:
    return Scrypt(salt=salt, length=32, n=2**15, r=8, p=1).derive(passphrase.encode())


def _nonce(prefix: bytes, counter: int, last: bool) -> bytes:
    return prefix + counter.to_bytes(4, "big") + (b"\x01" if last else b"\x00")


def is_sealed(path: Path) -> bool:
    with path.open("rb") as read:
        return read.read(len(MAGIC)) == MAGIC


def seal(plain: Path, sealed: Path, passphrase: str) -> None:
    salt, prefix = os.urandom(16), os.urandom(7)
    cipher = AESGCM(_key(passphrase, salt))
    with plain.open("rb") as read, sealed.open("wb") as out:
        out.write(MAGIC + salt + prefix)
        piece, counter = read.read(PIECE), 0
        while True:
            following = read.read(PIECE)
            out.write(cipher.encrypt(_nonce(prefix, counter, not following), piece, MAGIC))
            if not following:
                break
            piece, counter = following, counter + 1
        out.flush()
        os.fsync(out.fileno())


def unseal(sealed: Path, plain: Path, passphrase: str) -> None:
    with sealed.open("rb") as read, plain.open("wb") as out:
        if read.read(len(MAGIC)) != MAGIC:
            raise SealFault(f"{sealed.name} is not a sealed backup")
        salt, prefix = read.read(16), read.read(7)
        cipher = AESGCM(_key(passphrase, salt))
        piece, counter = read.read(PIECE + TAG), 0
        while True:
            following = read.read(PIECE + TAG)
            try:
                out.write(cipher.decrypt(_nonce(prefix, counter, not following), piece, MAGIC))
            except InvalidTag as fault:
                raise SealFault(
                    f"{sealed.name} cannot be opened: wrong passphrase, or altered or cut after {counter} MB"
                ) from fault
            if not following:
                return
            piece, counter = following, counter + 1
