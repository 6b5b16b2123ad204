"""Whole stories: from the referral to the third reset, and what is refused on the way."""

import pytest

from tests.features.resets.story import Story, a_story


@pytest.fixture
def story(database, tmp_path) -> Story:
    return a_story(database, tmp_path)


def test_one(story):
    story.refer()
    view = story.submit()
    print([(f.rule, f.verdict, f.severity, f.says) for f in view.findings])
    print(story.agree(1))
    print(story.fit(1, reasons={"LF.heel_trim_mm": "The heels were lower than on the film"}, heel_trim_mm=3.0))
    print(story.countersign(1))
    import shutil
    for k in ("agreed_plan","as_fitted"):
        open(f"/tmp/{k}.pdf","wb").write(story.office.blobs.get(story.latest(k).pdf_sha256))
