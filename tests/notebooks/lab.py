"""A JupyterLab of its own for a test, and what a user does in it."""

import contextlib
import os
import secrets
import socket
import subprocess
import sys
import time
import urllib.request

WAIT = 180.0  # seconds that anything may take on a slow machine

STATE = """() => {
  const panel = window.jupyterapp.shell.currentWidget;
  if (!panel || !panel.content || !panel.content.model) return null;
  const cells = [...panel.content.model.cells].filter(cell => cell.type === 'code');
  const outputs = cells.flatMap(cell => cell.outputs.toJSON());
  return {
    path: panel.context.path,
    ready: panel.context.isReady,
    cells: cells.length,
    ran: cells.filter(cell => cell.executionCount !== null).length,
    outputs: outputs.length,
    errors: outputs.filter(one => one.output_type === 'error').map(one => one.evalue),
  };
}"""


KERNEL = """() => {
  const session = window.jupyterapp.shell.currentWidget.sessionContext.session;
  return session && session.kernel && session.kernel.status;
}"""


@contextlib.contextmanager
def run_lab(root, own):
    """JupyterLab on a free port of this machine over `root`; everything it writes is in `own`."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    folders = ("RUNTIME_DIR", "CONFIG_DIR", "DATA_DIR", "LAB_WORKSPACES_DIR", "LAB_SETTINGS_DIR")
    places = {f"JUPYTER{'' if 'LAB' in name else '_'}{name}": str(own / name) for name in folders}
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root", "--ip=127.0.0.1",
        f"--port={port}", "--ServerApp.port_retries=0", f"--IdentityProvider.token={token}",
        f"--ServerApp.root_dir={root}", "--LabApp.expose_app_in_browser=True",
        "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
        "--LabApp.news_url=", "--ServerApp.terminals_enabled=False",
    ]  # fmt: skip
    with (own / "log").open("wb") as log:
        server = subprocess.Popen(
            command, stdout=log, stderr=log, env={**os.environ, **places, "HOME": str(own)}
        )
        try:
            address = f"http://127.0.0.1:{port}"
            wait_for(lambda: answers(f"{address}/api?token={token}", server))
            yield f"{address}/lab?token={token}"
        finally:
            server.terminate()
            server.wait(timeout=60)


def answers(address, server):
    assert server.poll() is None, "the server has ended: see its log"
    with contextlib.suppress(OSError), urllib.request.urlopen(address, timeout=5):
        return True
    return False


def wait_for(found):
    """What `found` gives as soon as it gives something."""
    end = time.monotonic() + WAIT
    while time.monotonic() < end:
        if result := found():
            return result
        time.sleep(0.3)
    raise AssertionError(f"waited {WAIT:.0f} s in vain")


def open_lab(page, address):
    """Open JupyterLab itself."""
    page.goto(address, timeout=WAIT * 1000)
    page.wait_for_function("window.jupyterapp !== undefined", timeout=WAIT * 1000)
    page.evaluate("async () => { await window.jupyterapp.restored; }")


def do(page, command):
    """Have JupyterLab carry out a command; what it returns is far too much to bring here."""
    page.evaluate(f"() => {{ window.jupyterapp.commands.execute({command}); }}")


def open_notebook(page, name):
    """Open one notebook as by a double click in the list of files; what stands in it."""
    path = f"notebooks/{name}.ipynb"
    do(page, f"'docmanager:open', {{path: '{path}'}}")
    return wait_for(lambda: is_open(page.evaluate(STATE), name))


def is_open(state, name):
    return state if state and state["ready"] and state["path"].endswith(f"{name}.ipynb") else None


def run_all(page):
    """Run all cells of the open notebook; what stands in it then."""
    wait_for(lambda: page.evaluate(KERNEL) == "idle")
    do(page, "'notebook:run-all-cells'")
    return wait_for(lambda: has_run(page.evaluate(STATE)))


def has_run(state):
    return state if state["ran"] == state["cells"] or state["errors"] else None
