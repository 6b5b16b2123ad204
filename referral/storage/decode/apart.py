"""What may end the process it runs in is done in a child of it, under limits.

The native decoders do not only raise on damaged or hostile data: some crash, some ask for all
the memory there is. A child is a fork, so everything is loaded already; it answers with plain
JSON and bytes, never with objects. Only for processes of one thread.
"""

import faulthandler
import json
import os
import resource
import select
import signal
import struct
import time
from collections.abc import Callable, Mapping
from typing import Any

from referral.errors import Invalid, ReferralError, TooLarge

Answer = tuple[Mapping[str, Any], bytes]

LONGEST_S = 60
MOST_MEMORY_BYTES = 4 << 30
HEAD = struct.Struct(">II")
CHUNK = 1 << 20
REFUSALS: Mapping[str, type[ReferralError]] = {"Invalid": Invalid, "TooLarge": TooLarge}
LOST = "The file is damaged, or needs more memory or time than it may have; it cannot be read."


def in_a_child(act: Callable[[], Answer], lost: str = LOST) -> Answer:
    """Return what ``act`` gives: plain values for JSON, and bytes.

    Raises
    ------
    Invalid, TooLarge
        If it raises them, in its words; Invalid too if the child ends without an answer,
        in the words of ``lost``.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        _be_the_child(act, reading, writing)
    os.close(writing)
    try:
        answer = _parted(_read_all(reading, time.monotonic() + LONGEST_S))
    finally:
        os.close(reading)
        _bury(child)
    if answer is None:
        raise Invalid(lost)
    said, rest = answer
    refused = said.get("refused")
    if refused:
        raise REFUSALS[refused](said["sentence"])
    return said["said"], rest


def _be_the_child(act: Callable[[], Answer], reading: int, writing: int) -> None:
    """Do the work, answer, and end; nothing of the parent's is closed or flushed."""
    status = 1
    try:
        os.close(reading)
        faulthandler.disable()
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        _limit_itself()
        with os.fdopen(writing, "wb") as out:
            for part in _answer_of(act):
                out.write(part)
        status = 0
    finally:
        os._exit(status)


def _limit_itself() -> None:
    soft = MOST_MEMORY_BYTES
    hard = resource.getrlimit(resource.RLIMIT_AS)[1]
    resource.setrlimit(
        resource.RLIMIT_AS, (soft if hard == resource.RLIM_INFINITY else min(soft, hard), hard)
    )
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST_S, LONGEST_S))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _answer_of(act: Callable[[], Answer]) -> tuple[bytes, bytes, bytes]:
    rest: bytes = b""
    try:
        said, rest = act()
        answer: Mapping[str, Any] = {"said": dict(said)}
    except (Invalid, TooLarge) as error:
        answer = {"refused": type(error).__name__, "sentence": error.message}
    head = json.dumps(answer).encode()
    return HEAD.pack(len(head), len(rest)), head, rest


def _read_all(reading: int, until: float) -> bytes:
    """Return everything the child writes until it ends, or what there is when time is up."""
    parts: list[bytes] = []
    while (left := until - time.monotonic()) > 0:
        if not select.select([reading], [], [], left)[0]:
            break
        part = os.read(reading, CHUNK)
        if not part:
            break
        parts.append(part)
    return b"".join(parts)


def _parted(data: bytes) -> tuple[Mapping[str, Any], bytes] | None:
    if len(data) < HEAD.size:
        return None
    head, rest = HEAD.unpack_from(data)
    if len(data) != HEAD.size + head + rest:
        return None
    return json.loads(data[HEAD.size : HEAD.size + head]), data[HEAD.size + head :]


def _bury(child: int) -> None:
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
