"""The notifier as a process, the mail server it talks to as another, and what the tests ask of both."""

import email
import email.policy
import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
CLIENT = HERE.parents[1] / "openapi" / "clients" / "notify.py"
SINK = HERE / "mail_sink.py"
KEY = "weirbook-test-key"
BEGUN = "The watch over the room begins"


@dataclass
class Letter:
    to: list
    subject: str
    text: str
    secure: bool
    headers: object


class MailServer:
    """The sink as a process, at one port also after it was stopped; what it took."""

    def __init__(self, folder):
        self.file = folder / "mail.jsonl"
        self.port, self.process, self.options = 0, None, ()

    def start(self, *more):
        self.options = more
        self.process = subprocess.Popen(
            [sys.executable, str(SINK), str(self.port), str(self.file), *more],
            stdout=subprocess.PIPE,
            text=True,
        )
        self.port = int(self.process.stdout.readline())
        return self

    def stop(self):
        if self.process:
            self.process.kill()
            self.process.communicate()
            self.process = None

    def letters(self):
        text = self.file.read_text(encoding="utf-8") if self.file.exists() else ""
        found = []
        for line in text.splitlines(keepends=True):
            if line.endswith("\n"):
                taken = json.loads(line)
                mail = email.message_from_string(taken["text"], policy=email.policy.default)
                words = mail.get_content().replace("\r\n", "\n")
                found.append(Letter(taken["to"], str(mail["Subject"]), words, taken["secure"], mail))
        return found

    def to(self, person):
        return [letter for letter in self.letters() if f"{person}@weirbook.example" in letter.to]

    def subjects(self, person="keeper"):
        return [letter.subject for letter in self.to(person)]


class Watch:
    """Writes the configuration and runs the notifier; ends what it started."""

    def __init__(self, folder, mail_port):
        self.folder, self.mail_port = folder, mail_port
        self.state = folder / "state"
        self.started = []
        self.people = {name: {"mail": f"{name}@weirbook.example"} for name in ("keeper", "ana", "bea")}

    @staticmethod
    def until(condition, seconds=10.0):
        deadline = time.monotonic() + seconds
        while not condition():
            assert time.monotonic() < deadline, "waited too long"
            time.sleep(0.01)

    def config(self, port, mail=None, beat=None, **settings):
        top = {
            "server": f"http://127.0.0.1:{port}",
            "folder": str(self.state),
            "every": "0.1s",
            "timeout": "5s",
            "time_zone": "UTC",
            "default": ["keeper"],
        }
        post = {
            "host": "127.0.0.1",
            "port": self.mail_port,
            "security": "none",
            "from": "room@weirbook.example",
        }
        path = self.folder / "notify.toml"
        # A text, number or list in JSON reads the same in TOML.
        lines = [
            f"{name} = {json.dumps(value)}" for name, value in (top | settings).items() if value is not None
        ]
        for title, table in (("mail", post | (mail or {})), ("beat", beat or {})):
            lines += [f"[{title}]", *(f"{name} = {json.dumps(value)}" for name, value in table.items())]
        for name, table in self.people.items():
            lines += [f"[people.{name}]", *(f"{way} = {json.dumps(value)}" for way, value in table.items())]
        path.write_text("\n".join(lines))
        return path

    def start(self, config, *more, **environment):
        process = subprocess.Popen(
            [sys.executable, str(CLIENT), "--config", str(config), *more],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env=os.environ | {"WEIRBOOK_KEY": KEY} | environment,
        )
        self.started.append(process)
        return process

    def run(self, config, *more, **environment):
        """Exit status and what was said."""
        process = self.start(config, *more, **environment)
        said, _ = process.communicate(timeout=30)
        return process.returncode, said

    def begun(self, port, **settings):
        """The configuration of a notifier whose first round is over."""
        config = self.config(port, **settings)
        status, said = self.run(config, "--once")
        assert status == 0, said
        return config

    def ended(self, process):
        process.terminate()
        said, _ = process.communicate(timeout=10)
        return process.returncode, said

    def notes(self):
        return json.loads((self.state / "follow.json").read_text())
