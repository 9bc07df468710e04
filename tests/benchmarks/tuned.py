"""The script as somebody who knows SQLite would tune it: WAL, one connection a thread, a fast JSON reader.

It judges nothing and keeps no rollups: about the most that this server and this framework can give.
"""

import sqlite3
import threading

import msgspec
import script
from flask import Flask, request

app = Flask(__name__)
mine = threading.local()


def connect():
    if not hasattr(mine, "db"):
        mine.db = script.connect()
    return mine.db


@app.post("/readings")
def post_readings():
    sent = msgspec.json.decode(request.get_data())
    rows = [(one["gauge"], one["at"], one["value"]) for one in sent.get("readings", [sent])]
    db = connect()
    try:
        with db:
            stored = db.executemany("INSERT OR IGNORE INTO readings VALUES (?, ?, ?)", rows).rowcount
    except sqlite3.Error:
        del mine.db
        raise
    return {"stored": stored}


app.add_url_rule("/week", view_func=script.week)
app.add_url_rule("/latest", view_func=script.latest)


def make():
    """The empty table."""
    db = connect()
    db.execute("PRAGMA journal_mode=WAL")
    db.execute(
        "CREATE TABLE IF NOT EXISTS readings (gauge TEXT, at TEXT, value REAL, PRIMARY KEY (gauge, at)) WITHOUT ROWID"
    )


if __name__ == "__main__":
    make()
    script.serve(app)
