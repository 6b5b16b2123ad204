"""The files of the house: what is tracked or would be, without git's help."""

import os
from collections.abc import Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
NOT_OURS = ("static/vendor/",)


@cache
def ignored() -> tuple[str, ...]:
    lines = (ROOT / ".gitignore").read_text().split("\n")
    return (".git", *(line.strip("/") for line in lines if line and not line.startswith("#")))


def is_ignored(path: str) -> bool:
    name = path.rpartition("/")[2]
    return any(fnmatch(path if "/" in each else name, each) for each in ignored())


@cache
def files() -> tuple[str, ...]:
    """Return every file, relative to the top, in order."""
    return tuple(sorted(_walk("")))


def _walk(folder: str) -> Iterator[str]:
    for entry in os.scandir(ROOT / folder):
        path = f"{folder}/{entry.name}".lstrip("/")
        if is_ignored(path):
            continue
        if entry.is_dir(follow_symlinks=False):
            yield from _walk(path)
        else:
            yield path


def our_files(*suffixes: str) -> list[str]:
    """Return our own files with one of the suffixes; all of ours if none is named."""
    return [
        path
        for path in files()
        if not path.startswith(NOT_OURS) and (not suffixes or path.endswith(suffixes))
    ]


def text_of(path: str) -> str | None:
    """Return a file's text, or None for one that is not text."""
    content = (ROOT / path).read_bytes()
    if b"\0" in content:
        return None
    try:
        return content.decode()
    except UnicodeDecodeError:
        return None
