"""Hostile and broken uploads: refused in one sentence or cleaned; never a crash, never metadata, never
much memory.
"""

from __future__ import annotations

import io
import random
import struct
import subprocess
import sys
import zlib
from datetime import date

import pytest
from django.utils import timezone
from PIL import Image, ImageDraw

from clinic.capture.writes.photos import _clean, consent_give, photo_store
from clinic.models import Photo
from clinic.record.errors import Refused
from tests import factories

SEED = 20260701
GPS = b"GPSSECRET"


def own_store(settings, folder):
    settings.STORAGES = {
        **settings.STORAGES,
        "default": {
            "BACKEND": "django.core.files.storage.FileSystemStorage",
            "OPTIONS": {"location": str(folder), "base_url": None},
        },
    }


def drawn(size=(120, 90), mode="RGB"):
    picture = Image.new("RGB", size, "#c8a090")
    ImageDraw.Draw(picture).ellipse((30, 20, 80, 70), fill="#8c3b36")
    return picture.convert(mode)


def saved(form, picture=None, **options):
    out = io.BytesIO()
    (picture or drawn()).save(out, form, **options)
    return out.getvalue()


def with_position():
    exif = Image.Exif()
    exif[0x010F] = GPS.decode()
    exif[0x0112] = 6
    exif.get_ifd(0x8825)[29] = GPS.decode()
    exif.get_ifd(0x8769)[0x9003] = "2026:01:02 10:00:00"
    return saved("JPEG", exif=exif, comment=GPS)


def chunk(name, data):
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width, height, *chunks, depth=8, colour=2, data=b""):
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", head),
            *chunks,
            chunk(b"IDAT", zlib.compress(data)),
            chunk(b"IEND", b""),
        ]
    )


def fuzz_cases():
    """Name and content of every case, the same each time."""
    rng = random.Random(SEED)
    jpeg, real_png, heic = saved("JPEG"), saved("PNG"), saved("HEIF")
    cases = [("empty", b""), ("zeros", bytes(4096)), ("text", b"not a picture " * 100)]
    for name, whole in (("jpeg", jpeg), ("png", real_png), ("heic", heic)):
        cases += [
            (f"{name} cut at {share} %", whole[: len(whole) * share // 100]) for share in range(2, 100, 4)
        ]
        for number in range(45):
            broken = bytearray(whole)
            for _ in range(rng.choice((1, 4, 30, 200))):
                broken[rng.randrange(len(broken))] = rng.randrange(256)
            cases.append((f"{name} with bytes changed {number}", bytes(broken)))
    cases += [(f"noise {number}", rng.randbytes(rng.randrange(1, 5000))) for number in range(12)]
    for form in ("GIF", "BMP", "TIFF", "WEBP", "PPM", "ICO", "TGA", "PDF"):
        cases.append((f"a {form} called photo.jpg", saved(form)))
    cases += [
        ("svg", b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>"),
        ("html", b"<!doctype html><script>alert(1)</script>"),
        ("zip head", b"PK\x03\x04" + rng.randbytes(400)),
        ("jpeg then zip", jpeg + b"PK\x03\x04" + rng.randbytes(400)),
        ("jpeg then script", jpeg + b"<script>alert(1)</script>"),
        (
            "script in png text",
            png(40, 40, chunk(b"tEXt", b"Comment\0<script>"), data=(b"\0" + b"\x80" * 120) * 40),
        ),
        ("gif head on jpeg", b"GIF89a" + jpeg),
        ("png head on jpeg", b"\x89PNG\r\n\x1a\n" + jpeg),
        ("jpeg head on png", b"\xff\xd8\xff" + real_png),
        ("position in metadata", with_position()),
    ]
    for width, height in (
        (8000, 8000),
        (30000, 30000),
        (65500, 65500),
        (2**31 - 1, 1),
        (1, 2**31 - 1),
        (0, 0),
        (1, 1),
        (9, 4000),
    ):
        cases.append((f"png says {width} x {height}", png(width, height)))
    bomb = zlib.compress(bytes(40_000_000), 9)
    cases += [
        ("text bomb", png(40, 40, chunk(b"zTXt", b"Comment\0\0" + bomb))),
        ("profile bomb", png(40, 40, chunk(b"iCCP", b"x\0\0" + bomb))),
        ("pixel bomb", png(4900, 4900, data=bytes(4900 * (4900 * 3 + 1)))),
        ("16 bits", png(60, 60, depth=16, data=(b"\0" + b"\x80" * 360) * 60)),
        ("one bit", saved("PNG", drawn(mode="1"))),
        ("palette", saved("PNG", drawn(mode="P"), transparency=0)),
        ("cmyk jpeg", saved("JPEG", drawn(mode="CMYK"))),
        ("grey jpeg", saved("JPEG", drawn(mode="L"))),
        ("with alpha", saved("PNG", drawn(mode="RGBA"))),
        ("progressive", saved("JPEG", progressive=True)),
        ("long strip", saved("JPEG", drawn((4000, 20)))),
    ]
    for orientation in (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 255, 65535):
        exif = Image.Exif()
        exif[0x0112] = orientation
        cases.append((f"orientation {orientation}", saved("JPEG", exif=exif)))
    for number in range(12):
        cases.append((f"broken exif {number}", saved("JPEG", exif=b"Exif\0\0" + rng.randbytes(80))))
    return cases


CASES = fuzz_cases()


def test_hostile_and_broken_files_are_refused_or_cleaned():
    assert len(CASES) >= 200
    refusals, cleaned = [], 0
    for name, content in CASES:
        try:
            kept, size, _ = _clean(io.BytesIO(content))
        except Refused as fault:
            refusals.append((name, fault))
            continue
        picture = Image.open(io.BytesIO(kept))
        picture.load()
        assert picture.format == "JPEG", name
        assert picture.size == size, name
        assert max(size) <= 2400, name
        assert not picture.getexif(), name
        assert not {"comment", "icc_profile", "exif"} & set(picture.info), name
        assert GPS not in kept, name
        assert b"<script" not in kept, name
        assert b"PK\x03\x04" not in kept[-600:], name
        cleaned += 1
    assert all(fault.field == "photo" and fault.message.startswith("Photo: ") for _, fault in refusals)
    print(f"\n{len(CASES)} uploads: {len(refusals)} refused, {cleaned} cleaned, none crashed")
    assert len(refusals) > 80
    assert cleaned > 20


@pytest.mark.django_db
def test_a_hostile_file_leaves_no_row_and_a_clean_answer(settings, tmp_path, as_staff, person):
    own_store(settings, tmp_path)
    lesion = factories.lesion(on=factories.limb(of=person))
    today = timezone.localdate().isoformat()
    as_staff.post(f"/people/{person.pk}/photo-consent/", {"on": today})
    for name, content in random.Random(SEED).sample(CASES, 25):
        upload = io.BytesIO(content)
        upload.name = "../../etc/passwd.jpg"
        answer = as_staff.post(f"/lesions/{lesion.pk}/photos/new/", {"photo": upload, "taken_on": today})
        assert answer.status_code in (302, 422), name
    assert all(".." not in photo.file.name for photo in Photo.objects.all())
    assert {path.suffix for path in tmp_path.rglob("*") if path.is_file()} <= {".jpg"}


def test_a_telephones_own_format_is_taken_in():
    kept, size, day = _clean(io.BytesIO(saved("HEIF")))
    assert (size, day) == ((120, 90), None)
    assert Image.open(io.BytesIO(kept)).format == "JPEG"


@pytest.mark.django_db
def test_the_day_in_the_picture_is_used_when_asked_for(settings, tmp_path, staff, person):
    own_store(settings, tmp_path)
    lesion = factories.lesion(on=factories.limb(of=person))
    consent_give(by=staff, person=person, given_on=date(2026, 1, 1))
    photo = photo_store(by=staff, lesion=lesion, taken_on=None, upload=io.BytesIO(with_position()))
    assert photo.taken_on == date(2026, 1, 2)
    again = photo_store(by=staff, lesion=lesion, taken_on=None, upload=io.BytesIO(with_position()))
    assert again.pk == photo.pk
    with pytest.raises(Refused, match="no date of its own"):
        photo_store(by=staff, lesion=lesion, taken_on=None, upload=io.BytesIO(saved("JPEG")))


#: The largest picture that is taken, made by another process so that only the intake is measured.
MEMORY = """
import io, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "clinic.config.settings_test"
import django
django.setup()
from PIL import Image
from clinic.capture.writes.photos import _clean
def highest():  # of this program alone: getrusage would begin at the peak of whoever started it [MB]
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) // 1024 for line in status if line.startswith("VmHWM"))
if os.fork() == 0:
    Image.new("RGBA", (5000, 5000), (200, 160, 140, 255)).save(sys.argv[1], compress_level=1)
    os._exit(0)
os.wait()
data = open(sys.argv[1], "rb").read()
before = highest()
_clean(io.BytesIO(data))
print(highest() - before)
"""


def test_the_memory_of_one_intake_is_bounded(settings, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", MEMORY, str(tmp_path / "largest.png")],
        capture_output=True,
        text=True,
        cwd=settings.BASE_DIR,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    print(f"\nlargest intake: {done.stdout.strip()} MB over what the program needs anyway")
    assert 100 < int(done.stdout) < 300  # 25 million pixels cannot be decoded in less
