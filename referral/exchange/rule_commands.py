"""`referral rules`: list, show and check rule files; try a changed book on all stored plans."""

from pathlib import Path

import click

from referral.clock import utc_now
from referral.errors import NotFound
from referral.exchange.backtest import backtest
from referral.plans.backtest import Backtest
from referral.rulebook.checking import checked_rulebook, example_faults, read_to_check
from referral.rulebook.loader import SHIPPED, load_rulebook, read_rule_files
from referral.rules.words import LimitSaid, RuleSaid, file_said
from referral.settings import load_settings
from referral.storage import schema
from referral.storage.db import Database
from referral.web.written import day, words

FINE, FOUND = 0, 1
NO_RULE = "There is no rule {id}; `referral rules list` names them all."
file_or_folder = click.argument("path", type=click.Path(path_type=Path, exists=True))
practice_option = click.option(
    "--practice", is_flag=True, help="The folder is an organisation's own, beside the shipped one."
)


@click.group()
def rules() -> None:
    """Read the rules, check those you write, and try them on the plans there are."""


@rules.command(name="list")
def list_rules() -> None:
    """List every shipped rule: id, worst severity, since when, evidence, feet, title."""
    for each in _shipped():
        evidence = ", ".join(each.evidence)
        head = f"{each.id:<5}{words(each.worst):<10}{each.since}  {evidence:<26}"
        click.echo(f"{head} {each.title}  ({each.feet})")


@rules.command()
@click.argument("rule_id")
def show(rule_id: str) -> None:
    """Show one shipped rule in plain words, with its limits, their sources and its examples."""
    found = next((each for each in _shipped() if each.id == rule_id.upper()), None)
    if found is None:
        raise NotFound(NO_RULE.format(id=rule_id))
    click.echo("\n".join(_shown(found)))


@rules.command()
@file_or_folder
@practice_option
def check(path: Path, *, practice: bool) -> int:
    """Check a rule file, or a folder of them, and run its examples.

    Exit status 0: all is as it says; 1: an example is answered otherwise; 2: a file is unusable.
    """
    files = read_to_check(path, "practice" if practice else "shipped")
    if practice and path.is_dir():
        load_rulebook(practice=path)
    root = path if path.is_dir() else path.resolve().parent.parent
    faults = [
        fault
        for each in files
        for fault in example_faults(each, (root / each.path).read_text(encoding="utf-8"))
    ]
    for fault in faults:
        click.echo(fault)
    if faults:
        return FOUND
    examples = sum(len(each.examples) for each in files)
    click.echo(f"All as they say: {len(files)} rules, {examples} examples.")
    return FINE


@rules.command(name="backtest")
@click.argument("folder", type=click.Path(path_type=Path, exists=True, file_okay=False))
@practice_option
@click.option(
    "--instance",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="The instance folder; REFERRAL_INSTANCE if left out.",
)
def backtest_rules(folder: Path, *, practice: bool, instance: Path | None) -> int:
    """Say which findings on all stored plans a changed rulebook would change; nothing is kept.

    Exit status 0: none; 1: some; 2: the folder or the instance is unusable.
    """
    proposed = load_rulebook(practice=folder) if practice else load_rulebook(folder)
    settings = load_settings(instance)
    database = Database(settings.database_url)
    schema.refuse_old(database.engine)
    now_used = checked_rulebook(settings.rules_dir)
    with database.reading() as session:
        found = backtest(session, now_used, proposed, utc_now().date())
    database.dispose()
    click.echo("\n".join(_tested(found)))
    return FOUND if found.changes else FINE


def _shipped() -> list[RuleSaid]:
    files = read_rule_files(SHIPPED, "shipped")
    return sorted((file_said(each) for each in files), key=lambda rule: rule.id)


def _shown(rule: RuleSaid) -> list[str]:
    lines = [
        f"{rule.id}  {rule.title}",
        f"  {rule.says}",
        f"  Compares: {rule.compares}, {rule.stage}.",
        f"  For: {rule.feet}.",
        f"  Limits since {day(rule.since)}:",
        *_limit_lines(rule.limits),
    ]
    for since in dict.fromkeys(each.since for each in rule.older):
        earlier = tuple(each for each in rule.older if each.since == since)
        lines += [f"  Before that, since {day(since)}:", *_limit_lines(earlier)]
    lines.append("  Examples:")
    for each in rule.examples:
        severity = f", {words(each.severity)}" if each.severity else ""
        lines.append(f"    {each.verdict}{severity}: {each.given}")
    return lines


def _limit_lines(limits: tuple[LimitSaid, ...]) -> list[str]:
    lines = []
    for each in limits:
        group = f", {each.group}" if each.group else ""
        lines.append(f"    {words(each.severity)}: {each.says}{group}")
        lines.append(f"      {each.evidence}: {each.source}")
        lines += [f"      {each.fix}"] if each.fix else []
    return lines


def _tested(found: Backtest) -> list[str]:
    said = f"{found.plans} plans judged by both books: "
    lines = [said + f"{len(found.changes)} findings change on {found.plans_changed} plans."]
    for before, after, count in found.counts:
        lines.append(f"  {count} x {_answer(before)} -> {_answer(after)}")
    for each in found.changes:
        where = f"case {each.case}, plan {each.plan}, {each.limb}"
        answers = f"{_answer(each.before)} -> {_answer(each.after)}"
        lines.append(f"  {where}: {each.rule} {each.title}, {words(each.stage)}: {answers}")
    return [*lines, *(f"  could not be judged: {each}" for each in found.unusable)]


def _answer(answer: tuple[str, str]) -> str:
    verdict, severity = answer
    said = words(verdict.lower())
    return said if verdict in ("not asked", "WITHIN", "NOT_APPLICABLE") else f"{said} ({severity})"
