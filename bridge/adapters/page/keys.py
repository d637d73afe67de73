"""The key that lets people in, and the cookie that stands for it.

The cookie is no copy of the key: it is a nonce signed with it, so a new key ends every old cookie, and a
cookie that leaks does not tell the key. Everything is compared in constant time.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import re
import secrets
from collections.abc import Mapping
from pathlib import Path

from bridge.adapters.page.options import PageSettings
from bridge.core.errors import ConfigError

COOKIE = "hembar-page"
CREDENTIAL = "page-key"
LEAST, MOST = 16, 200
_KEY = re.compile(rf"[!-~]{{{LEAST},{MOST}}}")
_YEAR_S = 365 * 86400


class Keys:
    """Who may come in.

    Args:
        key: The key; "" lets everybody in who reaches the page.
    """

    def __init__(self, key: str) -> None:
        self._key = key.encode()

    @property
    def wanted(self) -> bool:
        """Say whether a key is needed at all."""
        return bool(self._key)

    def fits(self, offered: str) -> bool:
        """Say whether this is the key."""
        return hmac.compare_digest(_digest(offered.encode("utf-8", "replace")), _digest(self._key))

    def cookie(self, *, encrypted: bool) -> str:
        """Return a `Set-Cookie` that stands for the key."""
        nonce = secrets.token_urlsafe(18)
        secure = "; Secure" if encrypted else ""
        said = f"{COOKIE}={nonce}.{self._seal(nonce)}; Max-Age={_YEAR_S}"
        return f"{said}; Path=/; HttpOnly; SameSite=Strict{secure}"

    def opens(self, cookie: str) -> bool:
        """Say whether a cookie's value was made with the key in force."""
        nonce, _, seal = cookie[:MOST].partition(".")
        return hmac.compare_digest(self._seal(nonce).encode(), seal.encode("utf-8", "replace"))

    def _seal(self, nonce: str) -> str:
        return hmac.new(self._key, b"cookie " + nonce.encode("utf-8", "replace"), hashlib.sha256).hexdigest()


def gone() -> str:
    """Return the `Set-Cookie` that makes a browser forget."""
    return f"{COOKIE}=; Max-Age=0; Path=/; HttpOnly; SameSite=Strict"


def _digest(text: bytes) -> bytes:
    return hashlib.sha256(text).digest()


def key_path(
    page: PageSettings, state_dir: Path | None, environ: Mapping[str, str] = os.environ
) -> Path | None:
    """Return the file that the key is in, or would be put in; None where none is needed.

    The settings come first, then the service manager's credential, then a file beside the journal.
    """
    if page.token_file is not None:
        return page.token_file
    credentials = environ.get("CREDENTIALS_DIRECTORY")
    if credentials and (Path(credentials) / CREDENTIAL).is_file():
        return Path(credentials) / CREDENTIAL
    if not page.needs_key or state_dir is None:
        return None
    return state_dir / CREDENTIAL


def key_for(
    page: PageSettings,
    state_dir: Path | None,
    environ: Mapping[str, str] = os.environ,
    *,
    make: bool = True,
) -> str:
    """Return the key; "" where none is needed.

    Args:
        page: The `[page]` table.
        state_dir: Where the journal is kept; None when that is not known.
        environ: The environment.
        make: Make a key beside the journal where one is needed and the owner gave none.

    Raises:
        ConfigError: the file can't be read or written, or what it holds is no good as a key.
    """
    path = key_path(page, state_dir, environ)
    if path is None:
        return ""
    made = path if state_dir is not None and path == state_dir / CREDENTIAL else None
    try:
        if make and made is not None and not made.exists():
            _make(made)
        with path.open(encoding="utf-8", errors="replace") as file:
            key = file.readline(MOST + 2).strip()
    except OSError as error:
        raise ConfigError(
            where=f"[page] key in {path}",
            problem=f"it can't be read: {error.strerror}",
            remedy="the service makes one at its start; one of your own has 16 characters or more and is "
            "readable for hembar",
        ) from error
    if _KEY.fullmatch(key) is None:
        raise ConfigError(
            where=f"[page] key in {path}",
            problem=f"its first line is no key of {LEAST} to {MOST} visible ASCII characters",
            remedy="take a random one, such as `openssl rand -hex 24` prints",
        )
    return key


def _make(path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    with os.fdopen(os.open(path, flags, 0o600), "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(24) + "\n")
