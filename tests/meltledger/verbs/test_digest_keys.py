"""The ``[digest]`` section: what it holds, and that a wrong mail configuration is told at ``check``."""

from __future__ import annotations

from pathlib import Path

import pytest

from meltledger.config import load
from meltledger.errors import LineFileWrong
from meltledger.posting import carriers_of
from rules.digest.smtp import MailServer
from tests.meltledger.test_cli import exit_code
from tests.meltledger.test_config import GOOD

WHOLE = """
[digest]
shifts = ["06:00", "14:00", "22:00"]
daily = true
mail = ["maintenance@site.example", "shift@site.example"]
smtp = "smtp://mail.site.example:587"
sender = "pilot-2@site.example"
user_env = "SMTP_USER"
password_env = "SMTP_PASSWORD"
webhook = "https://hooks.site.example/digest?to=shop"
token_env = "HOOK_TOKEN"
folder = "digests"

[[digest.part]]
at = "filter.plate.*"
number = "HP-24-220"
"""


def write(tmp_path: Path, lines: str) -> Path:
    path = tmp_path / "line.toml"
    path.write_text(f"{GOOD}\n{lines}\n", encoding="utf-8")
    return path


def test_without_the_section_there_is_no_digest(tmp_path: Path) -> None:
    config = load(write(tmp_path, ""))
    assert config.file.digest is None and carriers_of(config) == {}


def test_a_whole_section(tmp_path: Path) -> None:
    config = load(write(tmp_path, WHOLE))
    section = config.file.digest
    assert section is not None and section.daily and section.shifts == ("06:00", "14:00", "22:00")
    (part,) = section.part
    assert (
        part.is_of("filter.plate.3")
        and not part.is_of("filter.plate.3.temp")
        and not part.is_of("die.zone.3")
    )
    carriers = carriers_of(config)
    assert sorted(carriers) == ["file", "mail", "post"]
    mail = carriers["mail"]
    assert isinstance(mail, MailServer)
    assert (mail.host, mail.port, mail.tls_first, mail.sender) == (
        "mail.site.example",
        587,
        False,
        "pilot-2@site.example",
    )


@pytest.mark.parametrize(
    ("address", "port", "tls_first"),
    [
        ("smtp://h", 587, False),
        ("smtps://h", 465, True),
        ("smtps://h:2465", 2465, True),
        ("smtp://h:25", 25, False),
    ],
)
def test_the_servers_address_says_how_tls_begins(
    tmp_path: Path, address: str, port: int, tls_first: bool
) -> None:
    mail = carriers_of(load(write(tmp_path, WHOLE.replace("smtp://mail.site.example:587", address))))["mail"]
    assert isinstance(mail, MailServer) and (mail.port, mail.tls_first) == (port, tls_first)


BASE = '[digest]\ndaily = true\nmail = ["a@site.example"]\nsmtp = "smtp://h:587"\nsender = "l@site.example"\n'


@pytest.mark.parametrize(
    ("lines", "key", "said"),
    [
        ('[digest]\ndaily = true\nmail = ["a@site.example"]\nsender = "l@site.example"', "digest.mail", "add smtp"),
        ('[digest]\ndaily = true\nmail = ["a@site.example"]\nsmtp = "smtp://h"', "digest.mail", "add sender"),
        ('[digest]\ndaily = true\nfolder = "d"\nsmtp = "smtp://h"', "digest.smtp", "belongs to mail"),
        ('[digest]\ndaily = true', "digest", "a digest goes somewhere"),
        ('[digest]\nfolder = "d"', "digest", "say when a digest is made"),
        ('[digest]\nfolder = "d"\nshifts = ["6:00"]', "digest.shifts", "no time of day"),
        ('[digest]\nfolder = "d"\nshifts = ["06:00", "06:00"]', "digest.shifts", "a time of its own"),
        (BASE.replace("a@site.example", "Anna <a@site.example>"), "digest.mail", "no mail address"),
        (BASE.replace('"a@site.example"', '"a@site.example", "A@site.example"'), "digest.mail", "each address once"),
        (BASE.replace("l@site.example", "line"), "digest.sender", "no mail address"),
        (BASE.replace("smtp://h:587", "smtp://line:s3cret@h:587"), "digest.smtp", "no user or password here"),
        (BASE.replace("smtp://h:587", "mail.site.example"), "digest.smtp", "write smtp://HOST:587"),
        (BASE.replace("smtp://h:587", "smtp://h:99999"), "digest.smtp", "write smtp://HOST:587"),
        (BASE + 'user_env = "U"', "digest.user_env", "belong together"),
        (BASE + 'login_file = "login"\nuser_env = "U"\npassword_env = "P"', "digest.login_file", "one place"),
        (BASE + 'password_env = "s3cret word"', "digest.password_env", "not the name of an environment variable"),
        ('[digest]\ndaily = true\nwebhook = "http://h/x"', "digest.webhook", "write https://HOST/PATH"),
        ('[digest]\ndaily = true\nwebhook = "https://u:s3cret@h/x"', "digest.webhook", "name the token's place"),
        ('[digest]\ndaily = true\nwebhook = "https://h/x"\ntoken_env = "T"\ntoken_file = "t"', "digest.token_file", "one place"),
        ('[digest]\ndaily = true\nfolder = "d"\ntoken_env = "T"', "digest.token_env", "belongs to webhook"),
        ('[digest]\ndaily = true\nfolder = "d"\nshift = ["06:00"]', "digest.shift", "the nearest is 'shifts'"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_told_with_its_key_and_remedy(
    tmp_path: Path, lines: str, key: str, said: str
) -> None:
    with pytest.raises(LineFileWrong) as told:
        load(write(tmp_path, lines))
    assert [(f.key, said in f.text) for f in told.value.faults] == [(key, True)], told.value
    assert "s3cret" not in str(told.value)
    assert told.value.faults[0].line > len(GOOD.splitlines())


def test_check_says_what_will_keep_digests_from_being_sent(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("SMTP_USER", raising=False)
    monkeypatch.setenv("HOOK_TOKEN", "t0ken")
    path = write(tmp_path, WHOLE.replace('folder = "digests"', 'ca = "site.pem"'))
    assert exit_code("check", str(path)) == 0
    said = capsys.readouterr().out
    assert "digest: the environment variable SMTP_USER is not set; set it to the user" in said
    assert "digest.ca" in said and "site.pem cannot be read" in said and "t0ken" not in said


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "cannot be read"),
        ("line\n", "the user into the first"),
        ("\nsecret\n", "the user into the first"),
        ("line\nsecret\n", ""),
    ],
)
def test_user_and_password_from_a_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str | None, said: str
) -> None:
    path = write(tmp_path, BASE + 'login_file = "login"')
    if content is not None:
        (tmp_path / "login").write_text(content, encoding="utf-8")
    assert exit_code("check", str(path)) == 0
    out = capsys.readouterr().out
    assert (said in out) if said else ("digest:" not in out)
    assert "secret" not in out


def test_check_tells_a_wrong_mail_configuration(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, BASE.replace('smtp = "smtp://h:587"\n', ""))
    assert exit_code("check", str(path)) == 1
    assert "digest.mail: a mail needs a server: add smtp" in capsys.readouterr().out
