"""Every template compiles, and what it points to is there."""

import re

import pytest
from jinja2 import meta

from referral.app import create_app
from referral.settings import load_settings
from tests.house.tree import ROOT, our_files

NAMES = [path.removeprefix("templates/") for path in our_files() if path.startswith("templates/")]
ENDPOINT = re.compile(r"url_for\(\s*['\"]([\w.]+)['\"]")
STATIC_FILE = re.compile(r"url_for\(\s*['\"]static['\"],\s*filename=['\"]([^'\"]+)['\"]\s*\)")


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    folder = tmp_path_factory.mktemp("instance")
    (folder / "config.toml").touch()
    return create_app(load_settings(folder, {}))


def source(name):
    return (ROOT / "templates" / name).read_text()


def test_every_template_compiles(app):
    assert len(NAMES) > 5
    for name in NAMES:
        assert app.jinja_env.get_template(name).name == name


def test_what_a_template_builds_on_is_there(app):
    missing = {
        (name, other)
        for name in NAMES
        for other in meta.find_referenced_templates(app.jinja_env.parse(source(name)))
        if other not in NAMES
    }
    assert missing == set()


def test_every_link_leads_to_a_page_there_is(app):
    missing = {
        (name, endpoint)
        for name in NAMES
        for endpoint in ENDPOINT.findall(source(name))
        if endpoint not in app.view_functions
    }
    assert missing == set()


def test_every_static_file_that_is_linked_is_there():
    missing = {
        (name, path)
        for name in NAMES
        for path in STATIC_FILE.findall(source(name))
        if not (ROOT / "static" / path).exists()
    }
    assert missing == set()
