"""An instance's settings: read once, checked, and refused with a plain list of what is wrong."""

import base64
import dataclasses
import stat
import subprocess

import pytest

from referral.errors import SettingsFault
from referral.settings import READERS, _write_new, load_settings
from tests.house.tree import ROOT


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "config.toml").touch()
    return tmp_path


def refusal(folder, config="", environment=None):
    (folder / "config.toml").write_text(config)
    with pytest.raises(SettingsFault) as caught:
        load_settings(folder, environment or {})
    return caught.value.message


def test_the_readme_names_every_setting():
    table = (ROOT / "README.md").read_text().partition("| setting |")[2].partition("\n## ")[0]
    assert [name for name in READERS if f"`{name}`" not in table] == []


def test_an_empty_config_gives_a_local_instance(folder):
    settings = load_settings(folder, {})
    assert settings.instance_dir == folder
    assert settings.database_url == f"sqlite:///{folder}/var/referral.db"
    assert settings.files_dir == folder / "var/files"
    assert settings.keys_dir == folder / "var/keys"
    assert (settings.host, settings.port, settings.zone) == ("127.0.0.1", 8000, "UTC")
    assert (settings.production, settings.demo, settings.instance_name) == (
        False,
        False,
        "Referral",
    )


def test_the_file_is_read_and_the_environment_goes_before_it(folder):
    (folder / "config.toml").write_text(
        'name = " Hill Forge "\nport = 8100\ndemo = true\n'
        'zone = "Europe/Dublin"\nfiles_dir = "films"\n'
    )
    settings = load_settings(folder, {"REFERRAL_PORT": "9000", "REFERRAL_DEMO": "no"})
    assert (settings.instance_name, settings.zone) == ("Hill Forge", "Europe/Dublin")
    assert (settings.port, settings.demo) == (9000, False)
    assert settings.files_dir == folder / "films"


def test_the_instance_may_be_named_by_the_environment(folder):
    assert load_settings(None, {"REFERRAL_INSTANCE": str(folder)}).instance_dir == folder


def test_the_process_environment_is_read_where_none_is_handed_in(folder, monkeypatch):
    monkeypatch.setenv("REFERRAL_INSTANCE", str(folder))
    monkeypatch.setenv("REFERRAL_ZONE", "Asia/Tokyo")
    assert load_settings().zone == "Asia/Tokyo"


def test_settings_cannot_be_changed_and_do_not_show_their_secrets(folder):
    settings = load_settings(folder, {})
    with pytest.raises(dataclasses.FrozenInstanceError):
        settings.port = 1
    shown = repr(settings)
    assert settings.secret_key not in shown
    assert repr(settings.instance_key) not in shown
    assert settings.database_url not in shown


def test_secrets_are_made_once_and_are_their_owners_alone(folder):
    first = load_settings(folder, {})
    again = load_settings(folder, {})
    assert (first.secret_key, first.instance_key) == (again.secret_key, again.instance_key)
    assert len(first.instance_key) == 32
    for name in ("secret.key", "instance.key"):
        assert stat.S_IMODE((folder / "var/keys" / name).stat().st_mode) == 0o600
    assert sorted(path.name for path in (folder / "var/keys").iterdir()) == [
        "instance.key",
        "secret.key",
    ]


def test_of_two_processes_that_make_a_secret_the_first_wins(tmp_path):
    path = tmp_path / "secret.key"
    _write_new(path, b"first")
    _write_new(path, b"second")
    assert path.read_bytes() == b"first"
    assert list(tmp_path.iterdir()) == [path]


def test_secrets_from_the_environment_are_not_written_down(folder):
    key = bytes(range(32))
    settings = load_settings(
        folder,
        {
            "REFERRAL_SECRET_KEY": "a long enough sentence, kept elsewhere",
            "REFERRAL_INSTANCE_KEY": base64.b64encode(key).decode(),
        },
    )
    assert settings.secret_key == "a long enough sentence, kept elsewhere"
    assert settings.instance_key == key
    assert list((folder / "var/keys").iterdir()) == []


def test_secrets_that_are_weak_or_open_to_others_are_refused(folder):
    weak = refusal(
        folder, "", {"REFERRAL_SECRET_KEY": "secret", "REFERRAL_INSTANCE_KEY": "not base64"}
    )
    assert "at least 32 characters" in weak
    assert "32 bytes in base64" in weak
    load_settings(folder, {})
    (folder / "var/keys/secret.key").chmod(0o644)
    assert "secret.key: others may read it; run chmod 600" in refusal(folder)


def test_everything_that_is_wrong_is_said_at_once(folder):
    said = refusal(
        folder,
        'zone = "Yard/Muddy"\ndemo = "perhaps"\nname = ""\n'
        'databse_url = "x"\nkeys_dir = 3\nport = true\n',
        {"REFERRAL_HOST": " ", "REFERRAL_DATABASE_URL": "mysql://here"},
    )
    lines = said.split("\n")
    assert lines[0] == f"The settings of {folder} cannot be used:"
    for beginning in (
        "  - config.toml: there is no setting called 'databse_url'",
        "  - config.toml: zone: an IANA time zone such as Europe/Dublin is needed, not 'Yard",
        "  - config.toml: demo: true or false is needed, not 'perhaps'",
        "  - config.toml: name: 1 to 80 characters are needed, not ''",
        "  - config.toml: keys_dir: a folder is needed, not 3",
        "  - config.toml: port: a number from 1 to 65535 is needed, not True",
        "  - REFERRAL_HOST: 1 to 80 characters are needed",
        "  - REFERRAL_DATABASE_URL: an address beginning with sqlite:/// or postgresql://",
    ):
        assert any(line.startswith(beginning) for line in lines), beginning
    assert len(lines) == 9
    assert not (folder / "var").exists()


def test_a_demo_is_refused_in_production(folder):
    assert "cannot be a demo" in refusal(folder, "production = true\ndemo = true\n")
    (folder / "config.toml").write_text("production = true\n")
    assert load_settings(folder, {}).production


@pytest.mark.parametrize("port", ["0", "65536", "-1", "8000.0", "²", "port"])
def test_a_port_that_is_none_is_refused(folder, port):
    assert "REFERRAL_PORT" in refusal(folder, "", {"REFERRAL_PORT": port})


@pytest.mark.parametrize("zone", ["", "../etc/passwd", "/etc/localtime", "Europe"])
def test_a_zone_that_is_none_is_refused(folder, zone):
    assert "REFERRAL_ZONE" in refusal(folder, "", {"REFERRAL_ZONE": zone})


def test_a_postgresql_address_gets_the_driver_we_carry(folder):
    read = load_settings(folder, {"REFERRAL_DATABASE_URL": "postgresql://yard@db/referral"})
    assert read.database_url == "postgresql+psycopg://yard@db/referral"
    read = load_settings(folder, {"REFERRAL_DATABASE_URL": "sqlite:////srv/r.db"})
    assert read.database_url == "sqlite:////srv/r.db"


def test_no_instance_a_wrong_folder_and_a_broken_file_say_what_to_do(tmp_path):
    with pytest.raises(SettingsFault, match="--instance or REFERRAL_INSTANCE"):
        load_settings(None, {})
    with pytest.raises(SettingsFault, match=r"holds no config\.toml"):
        load_settings(tmp_path, {})
    assert "config.toml cannot be read: " in refusal(tmp_path, "port = ")
    (tmp_path / "config.toml").write_bytes(b"name = '\xff'")
    with pytest.raises(SettingsFault, match="cannot be read"):
        load_settings(tmp_path, {})


def test_a_folder_that_cannot_be_made_is_named(folder):
    (folder / "taken").touch()
    said = refusal(folder, 'keys_dir = "taken/keys"\n')
    assert f"keys_dir: {folder / 'taken'}" in said


def test_the_demo_is_configured_as_one(tmp_path):
    (tmp_path / "config.toml").write_bytes((ROOT / "instance_demo/config.toml").read_bytes())
    settings = load_settings(tmp_path, {})
    assert settings.demo
    assert not settings.production


MAIL = 'mail_host = "mail.example.org"\nmail_from = "yard@example.org"\n'


def test_without_a_mail_server_there_is_no_mail_and_links_lead_to_this_machine(folder):
    settings = load_settings(folder, {})
    assert (settings.mail_host, settings.mail_password) == (None, None)
    assert settings.public_address == "http://localhost:8000"
    assert settings.time_authority is None
    address = "http://time.example.org/tsa/sha256"
    assert load_settings(folder, {"REFERRAL_TIME_AUTHORITY": address}).time_authority == address


def test_a_mail_servers_password_comes_from_the_environment_or_a_file_of_its_owners(folder):
    (folder / "config.toml").write_text(
        MAIL + 'mail_user = "yard"\naddress = "https://here.example.org"\n'
    )
    settings = load_settings(folder, {"REFERRAL_MAIL_PASSWORD": "open sesame"})
    assert (settings.mail_port, settings.mail_tls) == (587, "starttls")
    assert settings.mail_password == "open sesame"
    assert "open sesame" not in repr(settings)
    assert settings.public_address == "https://here.example.org"
    assert list((folder / "var/keys").glob("mail*")) == []
    kept = folder / "var/keys/mail.password"
    kept.write_text("from a file\n")
    kept.chmod(0o644)
    with pytest.raises(SettingsFault, match="others may read it"):
        load_settings(folder, {})
    kept.chmod(0o600)
    assert load_settings(folder, {}).mail_password == "from a file"


TIME = 'time_authority = "http://time.example.org"\n'


@pytest.fixture
def root(folder):
    """Return a certificate's PEM, made by openssl, in ``root.pem``."""
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -noenc -subj /CN=Time"
    command += " -keyout root.key -out root.pem"
    subprocess.run(command.split(), cwd=folder, check=True, capture_output=True)
    return (folder / "root.pem").read_bytes()


def test_a_time_authority_over_http_needs_its_root_in_production(folder, root):
    assert "use https, or name the" in refusal(folder, f"production = true\n{TIME}")
    (folder / "config.toml").write_text(
        f'production = true\n{TIME}time_authority_root = "root.pem"\n'
    )
    assert load_settings(folder, {}).time_authority_root == root
    for config in (TIME, f"production = true\n{TIME.replace('http:', 'https:')}"):
        (folder / "config.toml").write_text(config)
        assert load_settings(folder, {}).time_authority_root is None


@pytest.mark.parametrize("damage", ["none there", "empty", "a key", "cut", "broken"])
def test_a_time_authoritys_root_that_holds_no_certificate_is_said_at_the_start(
    folder, root, damage
):
    held = {
        "none there": None,
        "empty": b"",
        "a key": (folder / "root.key").read_bytes(),
        "cut": root[:200],
        "broken": b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n",
    }[damage]
    (folder / "root.pem").unlink()
    if held is not None:
        (folder / "root.pem").write_bytes(held)
    said = refusal(folder, f'{TIME}time_authority_root = "root.pem"\n')
    assert "time_authority_root: a file with a certificate in PEM form is needed" in said


def test_hosts_that_may_be_asked_are_a_list_or_words_with_commas(folder):
    assert load_settings(folder, {}).lookup_hosts == ()
    (folder / "config.toml").write_text('lookup_hosts = ["CRL.example.org", "127.0.0.1:8080"]\n')
    named = load_settings(folder, {}).lookup_hosts
    assert named == ("crl.example.org", "127.0.0.1:8080")
    for words in ("any", "any, crl.example.org"):
        read = load_settings(folder, {"REFERRAL_LOOKUP_HOSTS": words}).lookup_hosts
        assert read == tuple(words.split(", "))


def test_a_folder_of_proofs_must_be_there(folder):
    assert "a folder that is there" in refusal(folder, 'proofs_dir = "lists"\n')
    (folder / "lists").mkdir()
    assert load_settings(folder, {}).proofs_dir == folder / "lists"


@pytest.mark.parametrize(
    ("config", "said"),
    [
        ('lookup_hosts = "http://crl.example.org/"\n', "lookup_hosts: hosts such as"),
        ('lookup_hosts = ["crl.example.org", ""]\n', "lookup_hosts: hosts such as"),
        ("lookup_hosts = 80\n", "lookup_hosts: hosts such as"),
        ('mail_host = "mail.example.org"\n', "mail_from: with mail_host"),
        (MAIL + 'mail_tls = "perhaps"\n', "one of starttls, tls, none is needed"),
        (MAIL + 'mail_user = "x"\nmail_tls = "none"\n', "never sent without TLS"),
        (MAIL + 'mail_user = "x"\n', "its password is needed in REFERRAL_MAIL_PASSWORD or"),
        (MAIL + "production = true\n", "address: with mail_host"),
        ('mail_from = "Yard <a@b.org>"\n', "an address such as yard@example.org"),
        ('address = "example.org/"\n', "an address such as https://"),
        ('time_authority = "ftp://x.org"\n', "an address such as https://time.example.org/stamp"),
        ('time_authority = "http://x.org/a?b=c"\n', "time_authority: an address such as"),
        ('address = "https://x.org\\nBcc: y"\n', "an address such as https://"),
    ],
)
def test_mail_settings_that_do_not_go_together_are_refused(folder, config, said):
    assert said in refusal(folder, config)


def test_a_folder_of_rules_is_named_beside_the_instance_and_must_be_there(folder):
    assert load_settings(folder, {}).rules_dir is None
    assert "rules_dir: a folder that is there is needed" in refusal(folder, 'rules_dir = "rules"\n')
    (folder / "rules").mkdir()
    assert load_settings(folder, {}).rules_dir == folder / "rules"
