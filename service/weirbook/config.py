"""Settings, read once from the environment and frozen."""

from __future__ import annotations

import ipaddress
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args

from platformdirs import user_data_path

from weirbook.errors import Invalid

DEFAULT_PORT = 8077

LogWish = Literal["quiet", "requests"]
ORIGIN = re.compile(r"https?://[a-z0-9.-]+(:[0-9]{1,5})?|https?://\[[0-9a-f:]+\](:[0-9]{1,5})?")


@dataclass(frozen=True)
class Config:
    """Everything that differs between one installation and another."""

    database_url: str
    body_cap: int = 16 * 1024 * 1024
    files: Path | None = None
    """The folder of attached files; beside an SQLite database if not said."""
    file_cap: int = 20 * 1024 * 1024
    """The longest file that may be attached."""
    batch_cap: int = 50_000
    part_lines: int = 5_000
    """Readings sent as lines that are stored in one transaction."""
    csv_cap: int = 200_000
    answer_kept_ms: int = 24 * 3600 * 1000
    queue_cap: int = 200
    """Requests that may wait for a thread; while more do, the next are answered 503 at once."""
    bodies_cap: int = 128 * 1024 * 1024
    """Bytes of large bodies that may be under way at once, all callers together, before any key was seen."""
    failures_per_minute: int = 30
    """Wrong keys from one address; see web/failures.py."""
    cors_origins: tuple[str, ...] = ()
    """Origins whose pages may call the service from a browser, letter by letter as browsers send them."""
    trusted_proxy: str | None = None
    """The address of the reverse proxy whose X-Forwarded-For and X-Forwarded-Proto are believed."""
    log: LogWish = "quiet"
    """quiet: warnings, faults and refused keys; requests: one line for each request besides."""

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Config:
        """The settings that the environment tells; what it doesn't tell stays as it is above.

        WEIRBOOK_DATABASE_URL: else an SQLite file in the user's data folder.
        WEIRBOOK_FILES: the folder of attached files. WEIRBOOK_FILE_CAP_MB: the longest of them, 1 to 100.
        WEIRBOOK_QUEUE_CAP, WEIRBOOK_FAILURES_PER_MINUTE: whole numbers of 1 or more.
        WEIRBOOK_CORS_ORIGINS: origins with commas between them, like https://room.example:8443.
        WEIRBOOK_TRUSTED_PROXY: an IP address. WEIRBOOK_LOG: quiet or requests.
        Raises Invalid.
        """
        known = os.environ if environment is None else environment
        return cls(
            known.get("WEIRBOOK_DATABASE_URL") or sqlite_url(user_data_path("weirbook") / "weirbook.db"),
            files=Path(known["WEIRBOOK_FILES"]) if known.get("WEIRBOOK_FILES") else None,
            file_cap=_count(known, "WEIRBOOK_FILE_CAP_MB", cls.file_cap >> 20, most=100) << 20,
            queue_cap=_count(known, "WEIRBOOK_QUEUE_CAP", cls.queue_cap),
            failures_per_minute=_count(known, "WEIRBOOK_FAILURES_PER_MINUTE", cls.failures_per_minute),
            cors_origins=_origins(known.get("WEIRBOOK_CORS_ORIGINS", "")),
            trusted_proxy=_address(known.get("WEIRBOOK_TRUSTED_PROXY", "")),
            log=_log_wish(known.get("WEIRBOOK_LOG") or cls.log),
        )


def _count(known: Mapping[str, str], name: str, usual: int, most: int = 999_999) -> int:
    said = known.get(name) or str(usual)
    if not said.isascii() or not said.isdigit() or not 1 <= len(said) <= 6 or not 1 <= int(said) <= most:
        raise Invalid(f"{name} is '{said}'. It takes a whole number from 1 to {most}.")
    return int(said)


def _origins(said: str) -> tuple[str, ...]:
    found = tuple(one.strip() for one in said.split(",") if one.strip())
    for one in found:
        if not ORIGIN.fullmatch(one):
            raise Invalid(
                f"WEIRBOOK_CORS_ORIGINS holds '{one}'. It takes whole origins in small letters, as browsers send them: "
                "https://name or https://name:port, no path, no * and no slash at the end."
            )
    return found


def _address(said: str) -> str | None:
    try:
        return str(ipaddress.ip_address(said)) if said else None
    except ValueError:
        raise Invalid(
            f"WEIRBOOK_TRUSTED_PROXY is '{said}'. It takes the proxy's IP address, like 127.0.0.1."
        ) from None


def _log_wish(said: str) -> LogWish:
    for wish in get_args(LogWish):
        if said == wish:
            return wish  # type: ignore[no-any-return]
    raise Invalid(f"WEIRBOOK_LOG is '{said}'. It takes: {', '.join(get_args(LogWish))}.")


def sqlite_url(file: Path) -> str:
    return f"sqlite:///{file}"
