"""`SourceIdentity`: which bytes a recording came from, so that an answer can name its inputs."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from agree.core.results.result import Result
from agree.core.shared_docs import made_by


@made_by("read_recording", "pair_recordings",
         references="FIPS PUB 180-4 for SHA-256 (from memory).")
@dataclass(frozen=True, slots=True, kw_only=True)
class SourceIdentity(Result):
    r"""Name, size and digest of the bytes a recording was read from.

    Attributes
    ----------
    name : str
        What it was called: the name of the file, or of the recording.
    size_bytes : int
        Bytes as they were given, packed if they were.
    sha256 : str
        Digest of them, 64 hexadecimal digits (FIPS 180-4). Of a frame or array: of its cells as text.

    Examples
    --------
    >>> from agree.core.data.source_identity import identity_of
    >>> found = identity_of("ride.csv", b"power\n200\n")
    >>> found.size_bytes, found.sha256[:8]
    (10, '55204e21')
    """

    name: str
    size_bytes: int
    sha256: str


def identity_of(name: str, data: bytes) -> SourceIdentity:
    """Return the identity of bytes."""
    return SourceIdentity(name=name, size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
