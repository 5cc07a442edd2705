"""The files that run a clinic: each is read by the program it is for, and holds what the settings need."""

from __future__ import annotations

import configparser
import json
import os
import re
import shlex
import shutil
import stat
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID
from django.core.management import CommandError, call_command, get_commands
from hypothesis import given
from hypothesis import strategies as st

from clinic.config.deployment.files import HOST, SECRET, Deployment, fault, files
from clinic.config.deployment.schedule import BY_HAND, JOBS
from tests.clinic.config.test_environment import ROOT, VARIABLES
from tests.conftest import program_path

#: Commands of libraries that a clinic runs.
OF_LIBRARIES = {"clearsessions", "axes_reset_logs"}


def certificate(folder, host="clinic.example.org"):
    """A certificate that only a test believes."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, host)])
    now = datetime.now(UTC)
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=2))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(host)]), critical=False)
        .sign(key, hashes.SHA256())
    )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "fullchain.pem").write_bytes(made.public_bytes(serialization.Encoding.PEM))
    (folder / "privkey.pem").write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )


@pytest.fixture
def out(tmp_path):
    (tmp_path / "log").mkdir()
    certificate(tmp_path / "certs")
    call_command(
        "deployment_files",
        "--host=clinic.example.org",
        f"--out={tmp_path / 'etc'}",
        f"--certificates={tmp_path / 'certs'}",
        f"--logs={tmp_path / 'log'}",
        "--user=root",
        "--mail=manager@example.org",
    )
    return tmp_path / "etc"


def units(out):
    return sorted([*out.glob("*.service"), *out.glob("*.timer")])


def read_unit(path):
    unit = configparser.ConfigParser(strict=True, interpolation=None, allow_no_value=False)
    unit.optionxform = str
    unit.read_string(path.read_text())
    return unit


def variables_of(path):
    """An environment file as systemd and compose read it: name, equals sign, the rest."""
    lines = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
    return dict(line.split("=", 1) for line in lines)


# --- What stands in them


def test_every_command_has_a_timer_or_a_reason_why_not():
    ours = {name for name, app in get_commands().items() if app in ("clinic", "offload")}
    timed = {job.command.split()[0] for job in JOBS}
    assert timed | set(BY_HAND) == ours | OF_LIBRARIES
    assert not timed & set(BY_HAND)


def test_every_variable_of_the_settings_stands_in_the_environment_file(out):
    read = {name for name, _ in VARIABLES} | {"BACKUP_PASSPHRASE"}
    # The session's options of the database are for its keeper, and empty would mean none.
    assert set(variables_of(out / "clinic.env")) == read - {"DATABASE_SESSION"}
    of_the_image = {"POSTGRES_USER", "POSTGRES_PASSWORD", "POSTGRES_DB"}
    assert set(variables_of(out / "compose.env")) - of_the_image <= read


@pytest.mark.parametrize("name", ["clinic.env", "compose.env"])
def test_production_starts_with_the_environment_file_and_is_clean(out, name, tmp_path):
    told = {**variables_of(out / name), "VAR_DIR": str(tmp_path / "var")}
    kept = {k: v for k, v in os.environ.items() if k in ("PATH", "HOME", "LANG")}
    done = subprocess.run(
        [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=ROOT,
        env={**kept, **told},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("name", ["clinic.env", "compose.env"])
def test_shell_and_service_read_the_same_values(out, name):
    done = subprocess.run(
        [
            "sh",
            "-euc",
            f"set -a; . {shlex.quote(str(out / name))}; {shlex.quote(sys.executable)} -c "
            "'import json, os; print(json.dumps(dict(os.environ)))'",
        ],
        capture_output=True,
        text=True,
        env={"PATH": os.environ["PATH"]},
    )
    assert done.returncode == 0, done.stderr
    by_shell = json.loads(done.stdout)
    told = variables_of(out / name)
    assert {k: by_shell[k] for k in told} == told


def test_keys_are_fresh_long_and_read_by_nobody_else(out, tmp_path):
    call_command("deployment_files", "--host=clinic.example.org", f"--out={tmp_path / 'second'}")
    first, second = variables_of(out / "clinic.env"), variables_of(tmp_path / "second" / "clinic.env")
    for name, least in {"SECRET_KEY": 50, "BACKUP_PASSPHRASE": 32, "DATABASE_URL": 60}.items():
        assert first[name] != second[name]
        assert len(first[name]) >= least
    for name in SECRET:
        assert stat.S_IMODE((out / name).stat().st_mode) == 0o600
    secrets_ = [
        first["SECRET_KEY"],
        first["BACKUP_PASSPHRASE"],
        first["DATABASE_URL"].split(":")[2].split("@")[0],
    ]
    for path in out.iterdir():
        if path.name not in SECRET:
            assert not any(secret in path.read_text() for secret in secrets_), path.name


def test_a_second_run_overwrites_nothing(out):
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    with pytest.raises(CommandError, match="exists already"):
        call_command("deployment_files", "--host=clinic.example.org", f"--out={out}")
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before


@given(st.text(max_size=60) | st.from_regex(HOST, fullmatch=True))
def test_any_host_is_a_host_name_or_is_refused(host):
    made = Deployment(host=host, out=Path("/etc/clinic"), app=Path("/srv/app"), python=Path("/srv/python"))
    if fault(made):
        assert "host" in fault(made)
        return
    # What is taken stands in the proxy's site as it was given, as one word.
    assert re.search(rf"server_name {re.escape(host)};", files(made)["nginx.conf"])
    assert not re.search(r"[^a-z0-9.-]", host)


@pytest.mark.parametrize(
    "bad", ["/var/my clinic", "relative", "/var/$HOME", "/var/%i", "/var/cl;inic", "/vär"]
)
@pytest.mark.parametrize(
    "name", ["out", "app", "python", "var", "backups", "digests", "certificates", "logs"]
)
def test_a_path_that_some_program_would_read_otherwise_is_refused(name, bad):
    told = {"host": "a.example.org", "out": "/o", "app": "/a", "python": "/p", name: bad}
    paths = {key: value if key == "host" else Path(value) for key, value in told.items()}
    assert name in fault(Deployment(**paths))


def test_nothing_is_left_to_fill_in(out):
    for path in out.iterdir():
        assert "{{" not in path.read_text(), path.name
        assert "{%" not in path.read_text(), path.name


# --- Each read by its own program; beside it what can be read without the program


def test_units_name_what_exists(out):
    assert len(units(out)) == 2 * len(JOBS) + 3
    for path in units(out):
        unit = read_unit(path)
        if path.suffix == ".timer":
            assert path.with_suffix(".service").exists()
            continue
        words = shlex.split(unit["Service"]["ExecStart"])
        assert Path(words[0]) == Path(sys.executable)
        assert unit["Service"]["EnvironmentFile"] == str(out / "clinic.env")
        if words[1] == "manage.py":
            assert words[2] in get_commands()


@pytest.mark.program("systemd-analyze")
def test_systemd_takes_every_unit_without_a_word(out):
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", *map(str, units(out))], capture_output=True, text=True
    )
    ours = [line for line in done.stderr.splitlines() if str(out) in line or "clinic" in line]
    assert (done.returncode, ours) == (0, [])


@pytest.mark.program("systemd-analyze")
@pytest.mark.parametrize("when", [job.when for job in JOBS])
def test_systemd_knows_every_time(when):
    assert subprocess.run(["systemd-analyze", "calendar", when], capture_output=True).returncode == 0


@pytest.mark.program("systemd-analyze")
def test_systemd_finds_a_planted_fault(out):
    path = out / "clinic-backup.timer"
    path.write_text(path.read_text().replace("01:10", "25:10"))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(path)], capture_output=True, text=True
    )
    assert "clinic-backup.timer" in done.stderr


def nginx(out, tmp_path, site):
    text = (out / site).read_text().replace("/etc/ssl/clinic", str(tmp_path / "certs"))
    (tmp_path / "site.conf").write_text(text)
    (tmp_path / "nginx.conf").write_text(
        f"pid {tmp_path}/nginx.pid; error_log stderr; events {{}} http {{ access_log off; "
        f"client_body_temp_path {tmp_path}/b; proxy_temp_path {tmp_path}/p; fastcgi_temp_path {tmp_path}/f; "
        f"uwsgi_temp_path {tmp_path}/u; scgi_temp_path {tmp_path}/s; include {tmp_path}/site.conf; }}"
    )
    return subprocess.run(
        [program_path("nginx"), "-t", "-q", "-p", str(tmp_path), "-c", str(tmp_path / "nginx.conf")],
        capture_output=True,
        text=True,
    )


@pytest.mark.parametrize("site", ["nginx.conf", "compose-nginx.conf"])
def test_the_proxy_writes_both_headers_anew_and_takes_a_photograph(out, site):
    from clinic.capture.writes.photos import LARGEST_UPLOAD_BYTES

    text = (out / site).read_text()
    assert text.count("{") == text.count("}")
    assert "proxy_set_header X-Forwarded-For $remote_addr;" in text
    assert "proxy_set_header X-Forwarded-Proto $scheme;" in text
    assert "$proxy_add_x_forwarded_for" not in text
    (size,) = re.findall(r"client_max_body_size (\d+)m;", text)
    assert int(size) * 2**20 > LARGEST_UPLOAD_BYTES + 2**20


@pytest.mark.program("nginx")
@pytest.mark.parametrize("site", ["nginx.conf", "compose-nginx.conf"])
def test_nginx_takes_the_site(out, tmp_path, site):
    done = nginx(out, tmp_path, site)
    assert done.returncode == 0, done.stderr


@pytest.mark.program("nginx")
def test_nginx_finds_a_planted_fault(out, tmp_path):
    path = out / "nginx.conf"
    path.write_text(path.read_text().replace("client_max_body_size 17m", "client_max_body_size seventeen"))
    assert nginx(out, tmp_path, "nginx.conf").returncode != 0


def test_log_rotation_covers_the_files_that_the_units_write(out, tmp_path):
    text = (out / "logrotate.conf").read_text()
    assert text.startswith(f"{tmp_path / 'log'}/*.log {{")
    written = {
        read_unit(path)["Service"]["StandardError"].removeprefix("append:") for path in out.glob("*.service")
    }
    assert all(Path(one).parent == tmp_path / "log" and one.endswith(".log") for one in written)


@pytest.mark.program("logrotate")
def test_logrotate_takes_the_file_and_turns_a_log(out, tmp_path):
    (tmp_path / "log").chmod(0o755)
    log = tmp_path / "log" / "clinic.log"
    log.write_text("{}\n")
    (out / "logrotate.conf").chmod(0o644)
    words = [program_path("logrotate"), "-s", str(tmp_path / "state"), str(out / "logrotate.conf")]
    done = subprocess.run([*words[:1], "-d", *words[1:]], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "error" not in done.stderr
    done = subprocess.run([*words[:1], "-f", *words[1:]], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert log.read_text() == ""
    assert (tmp_path / "log" / "clinic.log.1").read_text() == "{}\n"


def test_the_shell_takes_the_script_and_it_runs_a_command(out):
    assert subprocess.run(["sh", "-n", str(out / "clinic.sh")], capture_output=True).returncode == 0
    if shutil.which("dash"):
        assert subprocess.run(["dash", "-n", str(out / "clinic.sh")], capture_output=True).returncode == 0


def container_steps(out):
    text = (out / "Containerfile").read_text()
    return [line.split(" ", 1) for line in text.splitlines() if line and not line.startswith("#")]


def test_the_containers_steps_leave_a_program_that_starts(out, tmp_path):
    """COPY in a clean folder is what it needs: `check` reads every module and template folder there.

    Packages are not installed anew: the environment of the tests stands in for RUN.
    """
    image = tmp_path / "image"
    image.mkdir()
    for word, rest in container_steps(out):
        if word == "COPY":
            *sources, target = rest.split()
            for source in sources:
                to = image / target if len(sources) == 1 and not target.endswith("/") else image / source
                to.parent.mkdir(parents=True, exist_ok=True)
                if (ROOT / source).is_dir():
                    shutil.copytree(ROOT / source, to, ignore=shutil.ignore_patterns("__pycache__"))
                else:
                    shutil.copy(ROOT / source, to)
    (command,) = [json.loads(rest) for word, rest in container_steps(out) if word == "CMD"]
    told = {
        **variables_of(out / "compose.env"),
        "VAR_DIR": str(tmp_path / "var"),
        "DATABASE_URL": f"sqlite:///{tmp_path}/x.sqlite3",
        "PATH": os.environ["PATH"],
    }
    for words in (["manage.py", "collectstatic", "--noinput", "-v0"], [*command[1:], "--check-config"]):
        done = subprocess.run([sys.executable, *words], cwd=image, env=told, capture_output=True, text=True)
        assert done.returncode == 0, (words, done.stderr)
    # Nothing was read from outside: the program lies in the clean folder.
    done = subprocess.run(
        [sys.executable, "-c", "import clinic.config.settings as s; print(s.BASE_DIR)"],
        cwd=image,
        env=told,
        capture_output=True,
        text=True,
    )
    assert done.stdout.strip() == str(image)


def test_compose_names_only_what_it_has(out):
    text = (out / "compose.yaml").read_text()
    services = re.findall(r"^  (\w+):\n    image:", text, flags=re.MULTILINE)
    assert services == ["database", "prepare", "app", "proxy"]
    volumes = set(re.findall(r"^  (\w+):$", text.split("\nvolumes:")[1], flags=re.MULTILINE))
    used = {one for one in re.findall(r'"(\w+):/', text)}
    assert used == volumes
    for name in re.findall(r"^    env_file: (.*)$", text, flags=re.MULTILINE):
        assert (out / name).exists()
    # The proxy's network is the one whose headers are believed.
    (subnet,) = re.findall(r"subnet: ([\d./]+)", text)
    assert variables_of(out / "compose.env")["TRUSTED_PROXIES"] == subnet


@pytest.mark.cluster
def test_the_databases_statements_make_a_role_that_can_do_its_work_and_no_more(out):
    from tests import cluster

    statements = [
        line for line in (out / "database.sql").read_text().splitlines() if line and not line.startswith("--")
    ]
    with cluster.running() as server:
        server.sql(*statements)
        import psycopg

        url = variables_of(out / "clinic.env")["DATABASE_URL"].replace(":5432/", f":{server.port}/")
        with psycopg.connect(url, autocommit=True) as role:
            role.execute("CREATE TABLE t (x int)")
            role.execute("CREATE SCHEMA scratch")
            for more in ("CREATE DATABASE other", "CREATE ROLE other"):
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    role.execute(more)
        server.sql("CREATE ROLE stranger LOGIN PASSWORD 'x'")
        with pytest.raises(psycopg.OperationalError, match="permission denied"):
            psycopg.connect(f"postgres://stranger:x@127.0.0.1:{server.port}/clinic")
