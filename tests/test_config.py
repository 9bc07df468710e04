"""Settings come from the environment, and a wrong one is refused at the start with what it takes."""

from __future__ import annotations

from pathlib import Path

import pytest

from weirbook.config import Config
from weirbook.errors import Invalid


def test_what_is_not_told_stays_closed_and_quiet() -> None:
    config = Config.from_environment({})
    assert config.cors_origins == ()
    assert config.trusted_proxy is None
    assert config.log == "quiet"
    assert config == Config(config.database_url)
    assert Config.from_environment({"WEIRBOOK_LOG": "", "WEIRBOOK_QUEUE_CAP": ""}) == config


def test_what_is_told_is_taken() -> None:
    config = Config.from_environment(
        {
            "WEIRBOOK_DATABASE_URL": "sqlite:///room.db",
            "WEIRBOOK_FILES": "/srv/photos",
            "WEIRBOOK_FILE_CAP_MB": "35",
            "WEIRBOOK_QUEUE_CAP": "7",
            "WEIRBOOK_FAILURES_PER_MINUTE": "5",
            "WEIRBOOK_CORS_ORIGINS": "https://room.example, http://[::1]:5000,",
            "WEIRBOOK_TRUSTED_PROXY": "0:0:0:0:0:0:0:1",
            "WEIRBOOK_LOG": "requests",
        }
    )
    assert config == Config(
        "sqlite:///room.db",
        files=Path("/srv/photos"),
        file_cap=35 * 1024 * 1024,
        queue_cap=7,
        failures_per_minute=5,
        cors_origins=("https://room.example", "http://[::1]:5000"),
        trusted_proxy="::1",
        log="requests",
    )


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("WEIRBOOK_QUEUE_CAP", "0"),
        ("WEIRBOOK_QUEUE_CAP", "-1"),
        ("WEIRBOOK_QUEUE_CAP", "many"),
        ("WEIRBOOK_QUEUE_CAP", "1.5"),
        ("WEIRBOOK_QUEUE_CAP", "٣"),
        ("WEIRBOOK_FAILURES_PER_MINUTE", "9999999"),
        ("WEIRBOOK_FILE_CAP_MB", "101"),
        ("WEIRBOOK_FILE_CAP_MB", "0"),
        ("WEIRBOOK_CORS_ORIGINS", "*"),
        ("WEIRBOOK_CORS_ORIGINS", "null"),
        ("WEIRBOOK_CORS_ORIGINS", "room.example"),
        ("WEIRBOOK_CORS_ORIGINS", "https://room.example/"),
        ("WEIRBOOK_CORS_ORIGINS", "https://Room.example"),
        ("WEIRBOOK_CORS_ORIGINS", "https://*.example"),
        ("WEIRBOOK_CORS_ORIGINS", "https://room.example https://other.example"),
        ("WEIRBOOK_TRUSTED_PROXY", "localhost"),
        ("WEIRBOOK_TRUSTED_PROXY", "127.0.0.0/8"),
        ("WEIRBOOK_TRUSTED_PROXY", "*"),
        ("WEIRBOOK_LOG", "debug"),
    ],
)
def test_a_wrong_setting_is_refused_by_name(name: str, said: str) -> None:
    with pytest.raises(Invalid) as refused:
        Config.from_environment({name: said})
    assert name in refused.value.message


def test_settings_do_not_change() -> None:
    with pytest.raises(AttributeError):
        Config("sqlite://").log = "requests"  # type: ignore[misc]
