"""Sends a line's digests: what goes to whom, by which way, and the outbox that keeps it until it is there."""

from __future__ import annotations

import json
import os
import ssl
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from collector.secret import Secret
from historian.errors import MeltledgerError, WrongInput
from meltledger.config import LineConfig
from meltledger.digesting import Made
from meltledger.linefile import DigestSection
from rules.digest import as_html, as_json, within
from rules.digest.delivery import Carrier
from rules.digest.folder import Folder
from rules.digest.mail import mail_of, message_id
from rules.digest.outbox import Letter, Post
from rules.digest.smtp import MailServer
from rules.digest.times import moment
from rules.digest.webhook import Webhook


def outbox_path(config: LineConfig) -> Path:
    """The file of a line's outbox, beside its journal."""
    return config.journal.parent / "outbox.db"


def letters_of(config: LineConfig, made: Made, now_ns: int) -> list[Letter]:
    """What is to be sent of a digest: one letter a recipient."""
    section = config.file.digest
    if section is None:
        return []
    digest, sender = made.digest, section.sender or ""
    letters = [
        Letter(
            f"mail:{to}",
            message_id(digest.line, digest.period.key, to, sender),
            mail_of(digest, made.pictures, sender=sender, recipient=to, made_ns=now_ns),
        )
        for to in section.mail
    ]
    if section.webhook is not None:
        body = json.dumps(as_json(digest), ensure_ascii=False).encode()
        host = urlsplit(section.webhook).hostname or "webhook"
        name = message_id(digest.line, digest.period.key, section.webhook, f"x@{host}").strip("<>")
        letters.append(Letter(f"post:{section.webhook}", name, body))
    if section.folder is not None:
        folder = (config.path.parent / section.folder).absolute()
        page = as_html(digest, within(made.pictures)).encode()
        letters.append(Letter(f"file:{folder}", file_name(made), page))
    return letters


def file_name(made: Made) -> str:
    """The name of a digest's page, in the order of time when sorted."""
    digest = made.digest
    kind, _, start = digest.period.key.partition("/")
    return f"{digest.line}-{start.replace(':', '')}-{kind}.html"


def carriers_of(config: LineConfig) -> dict[str, Carrier]:
    """The ways by which the line's file lets its digests go.

    Raises:
        WrongInput: the certificates of the site's authority cannot be read.
    """
    section = config.file.digest
    if section is None:
        return {}
    found: dict[str, Carrier] = {"file": Folder()}
    if section.smtp is not None and section.sender is not None:
        address = urlsplit(section.smtp)
        tls_first = address.scheme == "smtps"
        port = address.port or (465 if tls_first else 587)
        login = _Login(section, config.path.parent) if _has_login(section) else None
        host, context = address.hostname or "", _context(config, section)
        found["mail"] = MailServer(host, port, tls_first, section.sender, context, login)
    if section.webhook is not None:
        secret = _token(section, config.path.parent)
        found["post"] = Webhook(_context(config, section), None if secret is None else secret.read)
    return found


def digest_notes(config: LineConfig) -> list[str]:
    """What is no fault of the line's file but will keep its digests from being sent."""
    section = config.file.digest
    if section is None:
        return []
    notes = []
    secret = _token(section, config.path.parent)
    asked: list[Callable[[], object]] = []
    asked += [_Login(section, config.path.parent)] if _has_login(section) else []
    asked += [] if secret is None else [secret.read]
    for ask in asked:
        try:
            ask()
        except MeltledgerError as error:
            notes.append(f"digest: {error}")
    try:
        carriers_of(config)
    except MeltledgerError as error:
        notes.append(str(error).removeprefix(f"{config.path}: "))
    return notes


def in_doubt_words(posts: list[Post], zone: ZoneInfo) -> list[str]:
    """Of each post in doubt, what a person should know and can ask the other side for."""
    return [
        f"It is not known whether the digest {p.period} arrived at {_shown(p.recipient)}: it was handed over "
        f"{moment(p.changed_ns, zone)} and no answer came. Its name is {p.name}."
        for p in posts
    ]


def told_words(post: Post) -> str:
    """A post and its recipient, for a person."""
    return f"digest {post.period} to {_shown(post.recipient)}"


def _shown(recipient: str) -> str:
    """A recipient without what may be a secret in a web address."""
    way, _, address = recipient.partition(":")
    return (urlsplit(address).hostname or "") if way == "post" else address


def _has_login(section: DigestSection) -> bool:
    return section.login_file is not None or section.user_env is not None


class _Login:
    """User and password, read each time that they are needed and never kept."""

    def __init__(self, section: DigestSection, base: Path) -> None:
        self._section, self._base = section, base

    def __call__(self) -> tuple[str, str]:
        section = self._section
        if section.login_file is None:
            user = os.environ.get(section.user_env or "", "").strip()
            if not user:
                raise WrongInput(
                    f"the environment variable {section.user_env} is not set; set it to the user"
                )
            return user, Secret(section.password_env).read()
        path = self._base / section.login_file
        try:
            lines = path.read_text(encoding="utf-8").splitlines()
        except (OSError, UnicodeDecodeError) as error:
            reason = getattr(error, "strerror", None) or "no text"
            raise WrongInput(f"{path}: user and password cannot be read ({reason})") from None
        if len(lines) < 2 or not lines[0].strip() or not lines[1]:
            raise WrongInput(f"{path}: write the user into the first and the password into the second line")
        return lines[0].strip(), lines[1]


def _token(section: DigestSection, base: Path) -> Secret | None:
    if section.token_env is None and section.token_file is None:
        return None
    return Secret(section.token_env, None if section.token_file is None else base / section.token_file)


def _context(config: LineConfig, section: DigestSection) -> ssl.SSLContext:
    context = ssl.create_default_context()
    if section.ca is not None:
        path = config.path.parent / section.ca
        try:
            context.load_verify_locations(path)
        except (OSError, ssl.SSLError) as error:
            reason = getattr(error, "strerror", None) or "no certificate in PEM form"
            raise WrongInput(
                f"{config.path}: digest.ca: {path} cannot be read ({reason}); name the file with the "
                "certificate of the site's authority"
            ) from error
    return context
