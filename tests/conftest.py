"""What every test may ask for."""

import hypothesis
import pytest

from tests.databases import make_test_database

hypothesis.settings.register_profile("referral", deadline=None)
hypothesis.settings.load_profile("referral")


@pytest.fixture(scope="session")
def databases(tmp_path_factory):
    """Give the run's source of databases: SQLite, or the server the environment names."""
    made = make_test_database(tmp_path_factory.mktemp("databases"))
    yield made
    made.close()


@pytest.fixture
def database(databases):
    """Give an empty database with every table."""
    fresh = databases.fresh()
    yield fresh
    fresh.dispose()
