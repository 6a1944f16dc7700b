"""A notebook server of our own and a browser, for the tests that need both."""

import os
import secrets
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
REPORTS = ROOT / ".reports"
SECONDS = 90  # for a server or a kernel to come up on a busy machine
FLAGS = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def reports():
    """Where screenshots go."""
    REPORTS.mkdir(exist_ok=True)
    return REPORTS


@pytest.fixture(scope="session")
def served(tmp_path_factory):
    """A folder and the address under which JupyterLab serves it; the server is stopped at the end."""
    folder, home = tmp_path_factory.mktemp("served"), tmp_path_factory.mktemp("home")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    quiet = home / "jupyterlab_settings_dir/@jupyterlab/apputils-extension/notification.jupyterlab-settings"
    quiet.parent.mkdir(parents=True)
    quiet.write_text('{"fetchNews": "false", "checkForUpdates": false}')
    own = (
        "JUPYTER_CONFIG_DIR",
        "JUPYTER_DATA_DIR",
        "JUPYTER_RUNTIME_DIR",
        "JUPYTERLAB_SETTINGS_DIR",
        "JUPYTERLAB_WORKSPACES_DIR",
        "IPYTHONDIR",
    )
    environment = {**os.environ, **{name: str(home / name.lower()) for name in own}, "JUPYTER_PREFER_ENV_PATH": "1"}
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
    options = (
        "--no-browser",
        "--allow-root",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        "--ServerApp.ip=127.0.0.1",
        f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={folder}",
        "--LabApp.expose_app_in_browser=True",
        "--LabApp.news_url=None",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    )
    with open(home / "server.log", "w+") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *options], env=environment, stdout=log, stderr=log, cwd=folder, start_new_session=True
        )
        try:
            _wait(f"http://127.0.0.1:{port}/api?token={token}", server, Path(log.name))
            yield folder, f"http://127.0.0.1:{port}", token
        finally:
            for sign in (signal.SIGTERM, signal.SIGKILL):  # the group: server and kernels
                if server.poll() is None:
                    os.killpg(server.pid, sign)
                    try:
                        server.wait(15)
                    except subprocess.TimeoutExpired:
                        continue


def _wait(address, server, log):
    """Until the server answers; what it wrote is shown if it does not."""
    end = time.monotonic() + SECONDS
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(address, timeout=5):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"the notebook server did not come up:\n{log.read_text()[-2000:]}")


@pytest.fixture(scope="session")
def chromium(tmp_path_factory):
    """A browser window without a face, with a profile of its own."""
    sync_api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.fail("chromium is not installed")
    with sync_api.sync_playwright() as started:
        window = started.chromium.launch_persistent_context(
            str(tmp_path_factory.mktemp("profile")), executable_path=program, headless=True, args=list(FLAGS), timeout=1000 * SECONDS
        )
        yield window
        window.close()
