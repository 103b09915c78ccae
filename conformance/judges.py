"""The judges: each says of every object whether it is good, and in words what it found."""
import collections
import hashlib
import io
import json
import os
import subprocess
import tempfile
import urllib.request
import warnings

import numpy
import pydicom
from PIL import Image, ImageOps
from pydicom.encaps import decode_data_sequence

warnings.simplefilter("ignore")

UNKNOWN_TO_OLD_JUDGES = {"1.2.840.10008.1.2.4.107", "1.2.840.10008.1.2.4.108"}
AVC = "1.2.840.10008.1.2.4.102"
VIDEO = "1.2.840.10008.1.2.4.10"

Verdict = collections.namedtuple("Verdict", "good words")


def run(*command):
    done = subprocess.run(command, capture_output=True, check=False, stdin=subprocess.DEVNULL)
    return done, (done.stdout + done.stderr).replace(b"\0", b"").decode("utf-8", "replace")


def own(program, paths):
    """The product's own validator."""
    done, _ = run(program, "validate", "--json", *paths)
    verdicts = {}
    for file in json.loads(done.stdout)["files"]:
        errors = [f"{finding['rule']} {finding['path']}" for finding in file["findings"] if finding["severity"].lower() == "error"]
        others = len(file["findings"]) - len(errors)
        verdicts[file["file"]] = Verdict(file["conforms"] and not errors, "; ".join(errors) or f"{others} warnings and notes")
    return verdicts


def labelled_for_old_judges(path, folder):
    """
    dicom3tools and GDCM of 2022 do not know HEVC and fragmentable syntaxes, and cannot read on. What they judge does not depend on which video is in the
    fragments, so they get a copy that is labelled as H.264; the path itself where that is not needed.
    """
    data_set = pydicom.dcmread(path)
    syntax = str(data_set.file_meta.TransferSyntaxUID)
    if syntax not in UNKNOWN_TO_OLD_JUDGES and not (syntax.startswith(VIDEO) and syntax.endswith(".1")):
        return path
    data_set.file_meta.TransferSyntaxUID = AVC
    copy = os.path.join(folder, os.path.basename(path))
    data_set.save_as(copy)
    return copy


def dciodvfy(path):
    """dicom3tools: its lines that begin with Error are counted, since its exit status is not reliable."""
    _, said = run("dciodvfy", "-new", path)
    lines = said.splitlines()
    errors = [line for line in lines if line.startswith("Error")]
    warned = sum(line.startswith("Warning") for line in lines)
    iod = next((line for line in lines if line and not line.startswith(("Error", "Warning"))), "no IOD recognised")
    return Verdict(not errors and iod != "no IOD recognised", "; ".join(errors) or f"{iod}, {warned} warnings")


def dcentvfy(paths):
    """dicom3tools: whether patient, study, series and equipment are told alike in all objects of a study."""
    _, said = run("dcentvfy", *paths)
    errors = [line for line in said.splitlines() if line.startswith("Error")]
    return Verdict(not errors, "; ".join(errors) or f"{len(paths)} objects of the study agree")


def pydicom_reads(data_set, name):
    elements = sum(1 for _ in data_set.iterall())
    found = str(data_set.PatientName)
    return Verdict(found == name, f"{elements} elements, name as ordered" if found == name else "the patient's name is not the ordered one")


def gdcm_reads(path):
    """GDCM reads the file whole; frames of video it does not decode."""
    done, said = run("gdcmdump", path)
    return Verdict(done.returncode == 0 and "(7fe0,0010)" in said, "read whole" if done.returncode == 0 else said[-200:])


def wado(web, study):
    """Every instance of a study as Orthanc gives it over WADO-RS (PS3.18 section 10.4): data set bytes by SOP Instance UID."""
    request = urllib.request.Request(
        f"http://127.0.0.1:{web}/dicom-web/studies/{study}", headers={"Accept": 'multipart/related; type="application/dicom"; transfer-syntax=*'})
    with urllib.request.urlopen(request, timeout=60) as reply:
        kind, body = reply.headers["Content-Type"], reply.read()
    boundary = b"\r\n--" + kind.split("boundary=")[1].split(";")[0].strip('"').encode()
    found = {}
    for part in (b"\r\n" + body).split(boundary)[1:]:
        if part.startswith(b"--"):
            break
        content = part.split(b"\r\n\r\n", 1)[1]
        data_set = pydicom.dcmread(io.BytesIO(content), stop_before_pixels=True)
        found[str(data_set.SOPInstanceUID)] = content
    return found


def data_set_of(content):
    """The bytes behind the file meta information (PS3.10 section 7.1): its group length says where it ends."""
    length = int.from_bytes(content[140:144], "little")
    return content[144 + length:]


def came_back(path, content):
    if content is None:
        return Verdict(False, "not in the archive")
    with open(path, "rb") as file:
        same = data_set_of(file.read()) == data_set_of(content)
    return Verdict(same, "the same data set, byte for byte" if same else "another data set than was sent")


def bit_stream(data_set):
    """The fragments in one; None for uncompressed pixels."""
    if not data_set.file_meta.TransferSyntaxUID.is_compressed:
        return None
    return b"".join(decode_data_sequence(data_set.PixelData))


def still_pixels(data_set, camera_path):
    """The object's picture against the camera file's, upright, both decoded by Pillow."""
    stream = bit_stream(data_set)
    if stream is None:
        shape = (data_set.Rows, data_set.Columns, data_set.SamplesPerPixel)
        inside = numpy.frombuffer(data_set.PixelData, numpy.uint8)[: shape[0] * shape[1] * shape[2]].reshape(shape)
    else:
        inside = numpy.asarray(Image.open(io.BytesIO(stream)))
    camera = ImageOps.exif_transpose(Image.open(camera_path))
    turned = Image.open(camera_path).getexif().get(274, 1) != 1
    outside = numpy.asarray(camera.convert("RGB") if camera.mode not in ("L", "RGB") else camera)
    if inside.ndim == 2:
        inside = inside[:, :, None]
    if outside.ndim == 2:
        outside = outside[:, :, None]
    if inside.shape != outside.shape:
        return Verdict(False, f"{inside.shape} and not {outside.shape}")
    difference = numpy.abs(inside.astype(int) - outside.astype(int))
    # Turned in the DCT domain, a decoder interpolates colour from the other side: a few edge pixels differ, no more.
    good = difference.max() == 0 or (turned and difference.mean() < 2)
    return Verdict(bool(good), "equal" if difference.max() == 0 else f"mean difference {difference.mean():.2f}, largest {difference.max()}")


def first_frame(path):
    done = subprocess.run(
        ["ffmpeg", "-hide_banner", "-loglevel", "error", "-nostdin", "-threads", "1", "-i", path, "-frames:v", "1", "-f", "rawvideo", "-pix_fmt", "rgb24", "-"],
        capture_output=True, check=False, stdin=subprocess.DEVNULL)
    return done.stdout


def clip_pixels(data_set, camera_path):
    """The first frame of the object's clip against the camera file's, both decoded by ffmpeg; and whether the file went in whole."""
    stream = bit_stream(data_set)
    with open(camera_path, "rb") as file:
        camera = file.read()
    whole = stream[: len(camera)] == camera
    with tempfile.NamedTemporaryFile(suffix=os.path.splitext(camera_path)[1]) as inside:
        inside.write(stream)
        inside.flush()
        ours, theirs = first_frame(inside.name), first_frame(camera_path)
    if not ours or len(ours) != len(theirs):
        return Verdict(False, "the first frame does not decode" if not ours else "the first frame has another size")
    if ours == theirs:
        return Verdict(True, f"first frame equal, {'file whole' if whole else 'container rewritten'}")
    mean = float(numpy.abs(numpy.frombuffer(ours, numpy.uint8).astype(int) - numpy.frombuffer(theirs, numpy.uint8).astype(int)).mean())
    return Verdict(mean < 6, f"mean difference of the first frame {mean:.2f}")


def pixels(path, camera_path):
    data_set = pydicom.dcmread(path)
    return clip_pixels(data_set, camera_path) if VIDEO in str(data_set.file_meta.TransferSyntaxUID) else still_pixels(data_set, camera_path)


def fingerprint(path):
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()
