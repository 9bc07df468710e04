"""The application that a server under comparison serves: the script where READINGS_DB is set, else Weirbook."""

from __future__ import annotations

import os
import sys
from pathlib import Path

if "READINGS_DB" in os.environ:
    sys.path.insert(0, str(Path(__file__).parent))  # this folder is no package

    import script

    script.make()
    app = script.app
else:
    from weirbook.app import create_app
    from weirbook.config import Config
    from weirbook.web.serving import run_server

    app = create_app(Config.from_environment())

if __name__ == "__main__":
    if "READINGS_DB" in os.environ:
        script.serve(app)
    else:
        run_server(app, "127.0.0.1", 0)
