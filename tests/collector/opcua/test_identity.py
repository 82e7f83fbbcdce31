"""A password is read where it stands, and shows nowhere else."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from collector import SourceRefused
from collector.opcua.identity import Anonymous, UserCertificate, UserName
from collector.secret import Secret
from tests.support.certificates import signed

SECRET = "correct horse battery"


def test_a_password_comes_from_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLC_PASSWORD", SECRET)
    assert Secret("PLC_PASSWORD").read() == SECRET


@pytest.mark.parametrize("ending", ["", "\n", "\r\n"])
def test_a_password_comes_from_a_file_without_its_line_end(tmp_path: Path, ending: str) -> None:
    file = tmp_path / "password"
    file.write_bytes(f" {SECRET} {ending}".encode())
    assert Secret(file=file).read() == f" {SECRET} "


@pytest.mark.parametrize("value", [None, ""])
def test_a_variable_that_is_not_set_is_named(monkeypatch: pytest.MonkeyPatch, value: str | None) -> None:
    monkeypatch.delenv("PLC_PASSWORD", raising=False)
    if value is not None:
        monkeypatch.setenv("PLC_PASSWORD", value)
    with pytest.raises(SourceRefused, match="variable PLC_PASSWORD is not set"):
        Secret("PLC_PASSWORD").read()


@pytest.mark.parametrize(
    ("body", "said"),
    [(None, "No such file"), (b"", "is empty"), (b"\n", "is empty"), (b"\xff\xfe", "no text")],
)
def test_a_file_that_holds_none_is_named_and_not_repeated(
    tmp_path: Path, body: bytes | None, said: str
) -> None:
    file = tmp_path / "password"
    if body is not None:
        file.write_bytes(body)
    with pytest.raises(SourceRefused, match=said) as caught:
        Secret(file=file).read()
    assert str(file) in str(caught.value)


def test_no_secret_shows_in_a_value(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLC_PASSWORD", SECRET)
    login = UserName("reader", Secret("PLC_PASSWORD"))
    assert login.password.read() == SECRET
    assert SECRET not in repr(login) + str(login)
    assert str(login) == "as user 'reader'" and str(Anonymous()) == "without a user name"


def test_a_user_certificate_is_loaded_with_its_key(tmp_path: Path) -> None:
    user = signed("reader", uri=None)
    login = UserCertificate(*user.save(tmp_path, "reader"))
    assert login.load().certificate == user.facts
    assert "reader.der" in str(login)
    os.remove(login.key)
    with pytest.raises(SourceRefused, match=r"reader\.pem: cannot be read"):
        login.load()
