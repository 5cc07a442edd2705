"""Laws over the text of the program: what no file of it may do, and what its notes say of its settings."""

from __future__ import annotations

import ast
import re
from functools import cache

import pytest

from clinic.config import settings as live
from tests.test_repository import ROOT

FILES = sorted(
    path
    for room in ("clinic", "offload")
    for path in (ROOT / room).rglob("*.py")
    if "migrations" not in path.parts
)
SCRIPTS = sorted((ROOT / "static" / "js").rglob("*.js"))
PAGES = sorted((ROOT / "templates").rglob("*.html"))
NOTES = (ROOT / "clinic" / "accounts" / "README.md").read_text()
#: Reproducible draws, no secret: the invented clinic, and a sample for peer review that two draw alike.
DRAWS = ("clinic/demo/", "clinic/audit/writes/peer.py")


@cache
def trees():
    return {path.relative_to(ROOT).as_posix(): ast.parse(path.read_text()) for path in FILES}


def imports():
    for name, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                yield from ((name, alias.name) for alias in node.names)
            elif isinstance(node, ast.ImportFrom) and node.module:
                yield name, node.module
                yield from ((name, f"{node.module}.{alias.name}") for alias in node.names)


def calls():
    for name, tree in trees().items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call):
                yield name, ast.unparse(node.func), node


def test_no_program_is_run_by_a_shell():
    shells = {"os.system", "os.popen", "subprocess.getoutput", "subprocess.getstatusoutput"}
    found = [
        (name, called)
        for name, called, node in calls()
        if called in shells
        or any(one.arg == "shell" for one in node.keywords)
        or (called.startswith("subprocess.") and node.args and isinstance(node.args[0], ast.JoinedStr))
    ]
    assert sum(called.startswith("subprocess.") for _, called, _ in calls()) >= 3
    assert found == []


def test_nothing_sent_is_read_by_a_reader_that_could_run_it():
    readers = {"pickle", "marshal", "shelve", "yaml", "dill", "jsonpickle", "xml.sax", "xml.dom", "lxml"}
    assert [one for one in imports() if one[1] in readers] == []
    runs = {"eval", "exec", "compile", "__import__"}
    assert [(name, called) for name, called, _ in calls() if called in runs] == []


def test_secrets_come_from_the_systems_generator_and_hashes_are_sha_256():
    drawn = [name for name, module in imports() if module in ("random", "random.Random", "numpy.random")]
    assert [name for name in drawn if not name.startswith(DRAWS)] == []
    hashes = {called for _, called, _ in calls() if re.fullmatch(r"hashlib\.\w+", called)}
    assert hashes == {"hashlib.sha256", "hashlib.file_digest"}
    kinds = {
        node.args[1].value
        for _, called, node in calls()
        if called == "hashlib.file_digest"  # type: ignore
    }
    assert kinds == {"sha256"}
    assert any(called.startswith("secrets.") for _, called, _ in calls())


def test_ciphers_are_the_one_librarys():
    """No cipher, mode or padding of our own: what seals is AES-256-GCM or Fernet of one library."""
    own = {
        module for _, module in imports() if module.split(".")[0] in ("cryptography", "Crypto", "nacl", "rsa")
    }
    modules = {module for module in own if not module.rsplit(".", 1)[-1][:1].isupper()}
    assert modules == {
        "cryptography.exceptions",
        "cryptography.fernet",
        "cryptography.hazmat.primitives.ciphers.aead",
        "cryptography.hazmat.primitives.kdf.scrypt",
    }


#: Rooms that open a connection to another machine, and the word under which the notes name what is there.
SPEAKS = {
    "clinic/accounts/reads/picture_store.py": "OBJECT_STORE_URL",
    "clinic/accounts/reads/reached.py": "doctor",
    "clinic/accounts/views/sign_on.py": "SIGN_ON_ISSUER",
    "clinic/config/private_store.py": "OBJECT_STORE_URL",
    "clinic/management/commands/digest.py": "EMAIL_URL",
    "clinic/accounts/writes/postgres_copy.py": "DATABASE_URL",
}


def test_only_rooms_that_are_named_speak_to_other_machines_and_readme_names_what_is_there():
    speaking = {
        "requests",
        "socket",
        "urllib.request",
        "http.client",
        "smtplib",
        "boto3",
        "ftplib",
        "psycopg",
    }
    beside = {"django.core.mail", "storages.backends.s3", "psycopg.conninfo"}
    found = {name for name, module in imports() if module in speaking | beside}
    assert found - {name for name in SPEAKS} <= {
        "clinic/accounts/reads/doctor.py",
        "clinic/config/settings.py",
    }
    readme = (ROOT / "README.md").read_text() + NOTES
    assert [word for word in SPEAKS.values() if word not in readme] == []


def test_pages_need_no_plug_in_and_scripts_merge_no_sent_object():
    plug_ins = re.compile(r"<(object|embed|applet)\b|ActiveXObject|x-shockwave", re.IGNORECASE)
    merging = re.compile(
        r"__proto__|\.prototype\b|\bfor\s*\(\s*(const|let|var)\s+\w+\s+in\b|\beval\(|new Function"
    )
    assert len(SCRIPTS) > 8
    assert len(PAGES) > 80
    assert [path.name for path in (*PAGES, *SCRIPTS) if plug_ins.search(path.read_text())] == []
    assert [path.name for path in SCRIPTS if merging.search(path.read_text())] == []
    # Onto an object of the program's own, from words written beside it.
    own = re.compile(r"(this|this\.\w+|new Error\([^()]*\)|document\.createElement\([^()]*\)), (\{|values\))")
    assigned = [one for path in SCRIPTS for one in re.findall(r"Object\.assign\((.*)", path.read_text())]
    assert len(assigned) > 5
    assert [one for one in assigned if "JSON" in one or not own.match(one)] == []


def test_no_password_field_refuses_a_password_manager():
    for path in (*PAGES, *SCRIPTS):
        text = path.read_text()
        assert "onpaste" not in text
        assert not re.search(r"addEventListener\(\s*[\"']paste", text), path
        assert not re.search(r"type=.?password[^>]*autocomplete=.?off", text), path


@pytest.mark.parametrize(
    ("words", "value"),
    [
        ("after {} idle minutes (`SESSION_IDLE_SECONDS`)", live.SESSION_COOKIE_AGE // 60),
        ("after {} hours (`SESSION_LONGEST_SECONDS`)", live.SESSION_LONGEST_SECONDS // 3600),
        ("for {} minutes; wrong codes double the wait", int(live.AXES_COOLOFF_TIME.total_seconds()) // 60),
        ("{} wrong passwords close a name", {5: "Five"}.get(live.AXES_FAILURE_LIMIT)),
    ],
)
def test_the_notes_give_the_times_and_limits_of_signing_in(words, value):
    assert words.format(value) in NOTES
    assert "several at once are allowed" in NOTES


def test_the_notes_name_every_key_what_it_is_for_and_when_it_is_changed():
    keys = {"SECRET_KEY", "BACKUP_PASSPHRASE", "DIGEST_KEY_FILE", "SIGN_ON_SECRET", "OBJECT_STORE_SECRET"}
    text = (ROOT / "clinic" / "config" / "settings.py").read_text()
    asked = set(re.findall(r'(?:env\.\w+|environ\.get)\(\s*"(\w*(?:SECRET|KEY_FILE|PASSPHRASE)\w*)"', text))
    assert asked == keys
    assert [key for key in (*sorted(keys), "clinic_personkey") if f"`{key}`" not in NOTES] == []
    assert "AES-256-GCM, scrypt" in NOTES
    assert "updated within a week" in NOTES


def test_the_log_goes_where_the_notes_say_and_nowhere_else():
    handlers = live.LOGGING["handlers"]
    assert {name: one["class"] for name, one in handlers.items()} == {"console": "logging.StreamHandler"}
    assert live.LOGGING["root"]["handlers"] == ["console"]
    assert not any(one.get("handlers") for one in live.LOGGING["loggers"].values())
    assert "Logs go to standard error, one JSON line an event: requests, sign-ins, refusals, faults" in NOTES
    first = [node.args[0] for _, called, node in calls() if called == "logging.getLogger" and node.args]
    named = {one.value for one in first if isinstance(one, ast.Constant)}
    assert named == {"clinic.requests", "clinic.sign_in"}
