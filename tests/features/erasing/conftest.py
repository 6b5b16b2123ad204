"""Cases of which something is erased."""

import pytest

from tests.features.erasing.acting import settle
from tests.features.resets.story import a_story


@pytest.fixture
def filmed(database, tmp_path):
    """A case with a film that was measured and referred."""
    story = a_story(database, tmp_path)
    story.refer(with_film=True)
    settle(story)
    return story


@pytest.fixture
def story(database, tmp_path):
    """A case with a film, an agreed plan that both signed, and nothing waiting to be signed."""
    story = a_story(database, tmp_path)
    story.refer(with_film=True)
    story.submit()
    story.agree(1)
    settle(story)
    return story
