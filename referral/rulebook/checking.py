"""Check rule files that somebody wrote: they load, and they do what their examples say."""

from pathlib import Path

from referral.rulebook.examples import Example, run_example
from referral.rulebook.faults import Fault, FaultList, RulebookFault, line_of
from referral.rulebook.loader import Rulebook, load_rulebook, read_rule_files
from referral.rulebook.rule_file import RuleFile, read_rule_file


def read_to_check(path: Path, origin: str = "shipped") -> tuple[RuleFile, ...]:
    """Return the rules of one file or of a folder.

    Parameters
    ----------
    path : Path
        ``<topic>/<rule id>.toml``, or a folder of such.
    origin : str
        ``shipped`` or ``practice``.

    Raises
    ------
    RulebookFault
        If anything in any file is wrong; lists every fault.

    Examples
    --------
    >>> [each.rule.id for each in read_to_check(Path(__file__).parent / "sole" / "R04.toml")]
    ['R04']
    """
    if path.is_dir():
        return read_rule_files(path, origin)
    path = path.resolve()
    root = path.parent.parent
    name = path.relative_to(root).as_posix()
    try:
        here = FaultList(name, path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        mend = "name a rule file of UTF-8 text, or a folder of them"
        raise RulebookFault([Fault(name, None, "it cannot be read", mend)]) from None
    found = read_rule_file(path, root, origin, here)
    if found is None:
        raise RulebookFault(here.found)
    return (found,)


def example_faults(file: RuleFile, text: str) -> tuple[Fault, ...]:
    """Return a fault for every example that is answered otherwise than it says.

    Parameters
    ----------
    file : RuleFile
        The rule with its examples.
    text : str
        What stands in its file, to say in which line the example is.

    Examples
    --------
    >>> (file,) = read_to_check(Path(__file__).parent / "sole" / "R04.toml")
    >>> example_faults(file, "")
    ()
    """
    faults = []
    for index, example in enumerate(file.examples):
        found = run_example(file.rule, example)
        got = None if found is None else (found.verdict, found.severity, found.reason)
        if got is None or any(
            wanted not in (None, is_so)
            for wanted, is_so in zip(
                (example.verdict, example.severity, example.reason), got, strict=True
            )
        ):
            line = line_of(text, "verdict", ("examples", index))
            answer = "nothing, for it was not run" if got is None else ", ".join(got)
            wrong = f"the example says {_says(example)} but the rule answers {answer}"
            faults.append(Fault(file.path, line, wrong, "mend the limits or the example"))
    return tuple(faults)


def checked_rulebook(practice: Path | None = None) -> Rulebook:
    """Return the shipped rulebook, with the rules of an instance's own folder if it names one.

    Parameters
    ----------
    practice : Path, optional
        A folder of ``<topic>/<rule id>.toml``.

    Returns
    -------
    Rulebook
        As `load_rulebook` gives it; every example of the own rules is answered as it says.

    Raises
    ------
    RulebookFault
        If a file cannot be used, or an example is answered otherwise; lists every fault.

    Examples
    --------
    >>> checked_rulebook() == load_rulebook()
    True
    """
    book = load_rulebook(practice=practice)
    faults = [
        fault
        for each in (read_rule_files(practice, "practice") if practice else ())
        for fault in example_faults(each, "")
    ]
    if faults:
        raise RulebookFault(faults)
    return book


def _says(example: Example) -> str:
    said = (example.verdict, example.severity, example.reason)
    return ", ".join(each for each in said if each is not None)
