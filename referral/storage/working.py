"""The worker as a process: a loop that ends when it is told, and one kept beside the server."""

import logging
import os
import select
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from types import FrameType

from sqlalchemy.exc import DBAPIError

from referral.storage.jobs import Worker

BETWEEN_LOOKS_S = 0.04
AFTER_A_FAULT_S = 2.0
LAST_PIECE_S = 90.0
STANDARD_INPUT = 0
WARM = (
    "numpy",
    "PIL.Image",
    "pydicom",
    "pydicom.pixels.decoders",
    "referral.storage.decode.dicom",
    "referral.storage.decode.pictures",
)
"""Loaded before the first piece of work, so that each child of ours starts with them."""

log = logging.getLogger(__name__)


def work_until_told(worker: Worker, *, beside: bool) -> None:
    """Do what waits until a signal says stop, or whoever started us closes our input.

    The piece in hand is finished first. A byte of input says that there is something to do.
    """
    told = _Told(beside=beside)
    for name in WARM:
        import_module(name)
    while not told.to_stop():
        try:
            busy = worker.run_one()
        except DBAPIError:
            log.exception("the database does not answer; trying again")
            busy = False
            time.sleep(AFTER_A_FAULT_S)
        if not busy:
            told.wait()


class _Told:
    """Whether this process was told to stop."""

    def __init__(self, *, beside: bool) -> None:
        self.beside = beside
        self.stopping = False
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._stop)

    def _stop(self, _number: int, _frame: FrameType | None) -> None:
        self.stopping = True

    def to_stop(self) -> bool:
        return self.stopping or (self.beside and self._input_closed(0.0))

    def wait(self) -> None:
        if self.beside:
            self._input_closed(BETWEEN_LOOKS_S)
        else:
            time.sleep(BETWEEN_LOOKS_S)

    def _input_closed(self, patience_s: float) -> bool:
        ready = select.select([STANDARD_INPUT], [], [], patience_s)[0]
        if ready and not os.read(STANDARD_INPUT, 1):
            self.stopping = True
        return self.stopping


@contextmanager
def worker_beside(instance_dir: Path) -> Iterator[Callable[[], None]]:
    """Keep one worker running for an instance, started again if it dies; give what wakes it."""
    command = [sys.executable, "-m", "referral.cli", "worker", "--beside"]
    keeper = _Keeper([*command, "--instance", str(instance_dir)])
    keeper.start()
    try:
        yield keeper.wake
    finally:
        keeper.end()


class _Keeper:
    def __init__(self, command: list[str]) -> None:
        self.command = command
        self.ending = threading.Event()
        self.changing = threading.Lock()
        self.process = self._started()
        self.thread = threading.Thread(target=self._keep, daemon=True)

    def start(self) -> None:
        self.thread.start()

    def wake(self) -> None:
        """Have the worker look now for what waits; one that is just starting looks anyway."""
        with self.changing, suppress(OSError, ValueError):
            if self.process.stdin is not None:
                self.process.stdin.write(b"!")
                self.process.stdin.flush()

    def end(self) -> None:
        """Let the worker finish what it has in hand, then be gone."""
        self.ending.set()
        self._close_input()
        try:
            self.process.wait(LAST_PIECE_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
        self.thread.join()

    def _close_input(self) -> None:
        with self.changing, suppress(OSError):
            if self.process.stdin is not None:
                self.process.stdin.close()

    def _started(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(self.command, stdin=subprocess.PIPE)  # noqa: S603 - our own command

    def _keep(self) -> None:
        while True:
            self.process.wait()
            if self.ending.wait(AFTER_A_FAULT_S):
                return
            log.warning(
                "the worker ended with status %s; it is started again", self.process.returncode
            )
            self._close_input()
            self.process = self._started()
