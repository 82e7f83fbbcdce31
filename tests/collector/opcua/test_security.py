"""This release reads unsecured endpoints only, and says so instead of falling back."""

from __future__ import annotations

import pytest

from collector import UnsupportedSecurity
from collector.opcua.security import check_security, parse_security


@pytest.mark.parametrize("text", ["None", " None ", "None/None"])
def test_none_is_accepted(text: str) -> None:
    assert check_security(text).policy == "None"


@pytest.mark.parametrize("text", ["Basic256Sha256/SignAndEncrypt", "Aes128_Sha256_RsaOaep/Sign"])
def test_a_secured_endpoint_is_understood_and_refused(text: str) -> None:
    assert f"{parse_security(text).policy}/{parse_security(text).mode}" == text
    with pytest.raises(UnsupportedSecurity, match="unsecured endpoints only"):
        check_security(text)


@pytest.mark.parametrize(
    "text", ["", "none", "Basic256Sha256", "Basic256Sha256/None", "None/Sign", "Basic128/Sign"]
)
def test_anything_else_is_no_setting(text: str) -> None:
    with pytest.raises(UnsupportedSecurity, match="cannot be read"):
        check_security(text)
