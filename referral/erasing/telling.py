"""What would go, and what went, as lines that a person reads."""

from collections.abc import Iterator

from referral.erasing.gathering import FileGoing, Going

DRAFTS = (
    "Drafts of sheets on this case that wait to be signed: {}. They go too; ask for them again."
)
NOBODY_ELSE = "stays in the store, as another record uses the same file"


def going_says(going: Going) -> Iterator[str]:
    """Yield what goes, line by line: words by their length, files by hash and size, and rows."""
    yield f"Goes: {going.said}."
    for field, text in going.words:
        yield f"  words: {field}, {len(text)} characters"
    for place in going.places:
        yield f"  rows: {place}"
    for each in going.files:
        yield f"  file: {file_says(each)}"
    if going.drafts:
        yield f"  {DRAFTS.format(going.drafts)}"
    for sentence in going.stays:
        yield f"Stays: {sentence}"


def file_says(each: FileGoing) -> str:
    """Return what a file is, its size, and whether anything else uses it."""
    size = "not there any more" if each.size_bytes is None else f"{each.size_bytes} bytes"
    kept = f"; {NOBODY_ELSE}" if each.is_kept else ""
    return f"{each.says} ({each.digest}), {size}{kept}"
