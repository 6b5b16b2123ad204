"""No page of a case runs out of a phone, nor of a desk: each is looked at three widths wide."""

import dataclasses
import re
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import chain

import pytest
from playwright.sync_api import Page

from referral.app import create_app, worker_of
from referral.assessments.service import Assess, assess
from referral.films.intake import SendFilm, keep_upload
from referral.films.service import TakenHow
from referral.rulebook.loader import load_rulebook
from referral.shoes.service import StockLine, add_shoe, forge_of
from referral.storage.blobs import BlobStore
from referral.web.wiring import Wiring
from tests.browser.people import Someone, someone
from tests.factories import PASSWORDS, Clock, a_settings, an_actor
from tests.features.resets.story import Story, a_story
from tests.web.yard import plain_jpeg

WIDTHS = (320, 390, 1280)
NOT_A_PAGE = re.compile(r"\.(pdf|csv|jpg)(\?|$)|/original$|/sign-out$")
IDS = re.compile(r"[0-9a-f]{8}-[0-9a-f-]{27}|(?<=/)\d+(?=/|$)")
EACH_HAS_ITS_OWN = ("/", "/cases/N", "/cases/N/films/N", "/cases/N/plans/N")
"""Pages that are another page for another person."""
BESIDE_THE_SCREEN = """() => {
  for (const each of document.querySelectorAll('details')) each.open = true;
  const beside = (each) => {
    const box = each.getBoundingClientRect();
    return box.width > 1 && (box.right > innerWidth + 1 || box.left < -1);
  };
  const isPushed = (each) => {
    for (let up = each.parentElement; up; up = up.parentElement) {
      if (['auto', 'scroll'].includes(getComputedStyle(up).overflowX)) return !beside(up);
    }
    return false;
  };
  const hidden = 'svg, .editor-view, .spoken, .table-stack thead';
  const found = [...document.querySelectorAll('main *')]
    .filter((each) => beside(each) && !each.closest(hidden) && !isPushed(each));
  const scroller = (each) => each.closest('.scroll, .table:not(.table-stack)') ?? document.body;
  const isCut = (each) => {
    const words = document.createRange();
    words.selectNodeContents(each);
    const box = words.getBoundingClientRect();
    return box.width > 1 && box.right > scroller(each).getBoundingClientRect().right + 1;
  };
  found.push(...[...document.querySelectorAll('main caption:not(.spoken)')].filter(isCut));
  const said = found.map((each) => `${each.tagName}.${each.className}`);
  return document.documentElement.scrollWidth > innerWidth ? ['the page', ...said] : said;
}"""
"""Names what lies beside the screen, but for what is made to be pushed sideways: no caption is."""
KINDS_OF_A_CASE = 30
"""Fewer kinds of page than this, and the way through them is lost."""


@pytest.fixture
def story(database, tmp_path) -> Story:
    """One round of the loop and a film after it."""
    with ThreadPoolExecutor(1) as apart:  # the browser's own loop runs in this thread
        return apart.submit(told, database, tmp_path).result()


def told(database, folder) -> Story:
    story = a_story(database, folder)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    story.fit(1)
    story.countersign(1)
    story.move(days=7)
    story.film()
    return story


@pytest.fixture
def address(database, tmp_path, story, serve) -> str:
    settings = a_settings(tmp_path, database.url)
    clock = Clock(story.now)
    wired = Wiring(
        settings=settings,
        database=database,
        blobs=BlobStore(settings.files_dir),
        rulebook=load_rulebook(),
        passwords=PASSWORDS,
        now=clock,
    )
    with database.transaction() as session:
        for view in ("sole_photo", "side_photo", "front_photo"):
            taken = TakenHow("LF", view, story.today, "after", "no")
            sent = SendFilm(plain_jpeg((900, 1200)), f"{view}.jpg", taken, story.today)
            keep_upload(session, story.access(session, "farrier"), wired.blobs, sent, story.now)
        seen = Assess(
            "LF", story.today, {"landing": "flat"}, {"foot_width_mm": 130.0}, None, story.today
        )
        assess(session, story.access(session, "farrier"), seen, story.now)
        farrier = an_actor(session, session.merge(story.cast.farrier), story.now)
        line = StockLine("straight_bar", "steel", "2", 146.0, 134.0, 20.0, 10.0, 4, None)
        add_shoe(session, farrier, forge_of(farrier, story.cast.forge_id), line, story.now)
    worker_of(wired).run_waiting()
    return serve(create_app(settings, dataclasses.replace(wired, work=lambda: None)))


def kind_of(path: str) -> str:
    return IDS.sub("N", path)


def pages_of(who: Someone, seen: set[str]) -> Iterator[str]:
    """Open one page of each kind that links lead to, from the desk on."""
    waiting, mine = ["/"], set[str]()
    while waiting:
        path = waiting.pop(0)
        kind = kind_of(path)
        known = mine if kind in EACH_HAS_ITS_OWN else seen
        if kind in known or NOT_A_PAGE.search(path):
            continue
        known.add(kind)
        if who.go(path) != 200:
            continue
        yield path
        links = who.page.eval_on_selector_all("a[href^='/']", "all => all.map((a) => a.pathname)")
        waiting += [each for each in links if kind_of(each) not in known]


def films_of(who: Someone, number: int) -> Iterator[str]:
    """Open every film and photo of a case."""
    who.go(f"/cases/{number}")
    links = who.page.eval_on_selector_all("a[href*='/films/']", "all => all.map((a) => a.pathname)")
    for path in sorted({each for each in links if kind_of(each) == "/cases/N/films/N"}):
        assert who.go(path) == 200
        yield path


def beside_the_screen(page: Page, width: int) -> list[str]:
    page.set_viewport_size({"width": width, "height": 844})
    return list(page.evaluate(BESIDE_THE_SCREEN))


def test_no_page_of_a_case_runs_out_of_the_screen(look, address, story):
    people = (story.cast.farrier, story.cast.vet, story.cast.owner)
    seen: set[str] = set()
    found: dict[tuple[str, int], list[str]] = {}
    for person in people:
        who = someone(look(viewport={"width": 390, "height": 844}), address, person.email)
        films = films_of(who, story.number) if person is story.cast.vet else ()
        for path in chain(pages_of(who, seen), films):
            for width in WIDTHS:
                found[path, width] = beside_the_screen(who.page, width)
        assert who.faults == []
    assert [(*where, what) for where, what in found.items() if what] == []
    assert len(seen) >= KINDS_OF_A_CASE
