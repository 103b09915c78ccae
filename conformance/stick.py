"""Draws the stick of cases.json: stills by Pillow, clips by ffmpeg, sidecar files as a clinic's own software would write them.

Nothing of the product is used. Every picture has pixels of its own, so that none is known from another.
"""
import datetime
import json
import os
import shutil
import subprocess
import zoneinfo

from PIL import Image

ZONE = zoneinfo.ZoneInfo("Europe/London")
STILL, CLIP = ".JPG", ".MP4"


def still(kind, path, seed, taken):
    width, height = (640, 480) if kind != "jpeg-rotated" else (640, 400)
    # A smooth colour field with a grid over it, and a hue of its own: chroma edges show a wrong sampling or a turned picture.
    image = Image.new("RGB", (width, height))
    image.putdata([((x * 255 // width + seed * 37) % 256, (y * 255 // height + seed * 11) % 256, 255 if x % 80 < 3 or y % 80 < 3 else (x + y + seed) % 128)
                   for y in range(height) for x in range(width)])
    exif = Image.Exif()
    exif[271], exif[272] = "Example Optics", "ClipCam 2"
    exif[306] = taken.strftime("%Y:%m:%d %H:%M:%S")
    exif.get_ifd(0x8769)[36867] = exif[306]
    if kind == "jpeg-rotated":
        exif[274] = 6
    if kind == "png":
        image.save(path, "PNG")
        return
    if kind == "jpeg-grey":
        image = image.convert("L")
    sampling = {"jpeg-444": 0, "jpeg-422": 1}.get(kind, 2)
    options = {} if image.mode == "L" else {"subsampling": sampling}
    image.save(path, "JPEG", quality=88, exif=exif, progressive=kind == "jpeg-progressive", **options)


def clip(kind, path, seed, seconds, begun):
    source = ["-f", "lavfi", "-i", f"testsrc2=size=640x480:rate=25:duration={seconds}"]
    sound = ["-f", "lavfi", "-i", f"sine=frequency={300 + seed}:sample_rate=48000:duration={seconds}"] if kind.endswith("sound") else []
    coder = {
        "clip-h264": ["-c:v", "libx264", "-preset", "veryfast", "-pix_fmt", "yuv420p", "-profile:v", "high", "-level:v", "4.1"],
        # Another profile than the transfer syntaxes name: it must be encoded anew.
        "clip-h264-baseline": ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-profile:v", "baseline", "-level:v", "3.1"],
        "clip-hevc": ["-c:v", "libx265", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-x265-params", "log-level=error", "-tag:v", "hvc1"],
        "clip-mpeg2": ["-c:v", "mpeg2video", "-b:v", "4M", "-maxrate", "9M", "-bufsize", "1835k", "-profile:v", "4", "-level:v", "8", "-f", "vob"],
    }[kind.removesuffix("-sound")]
    if kind == "clip-mpeg2":
        source = ["-f", "lavfi", "-i", f"testsrc2=size=720x576:rate=25:duration={seconds}"]
    utc = begun.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
    subprocess.run(
        ["ffmpeg", "-hide_banner", "-loglevel", "error", "-nostdin", "-y", "-threads", "1", *source, *sound, "-vf", f"hue=h={seed * 17 % 360}", *coder,
         *(["-c:a", "aac", "-ac", "2", "-b:a", "96k", "-shortest"] if sound else []), "-metadata", f"creation_time={utc}", path],
        check=True, stdin=subprocess.DEVNULL)


def photograph(folder, name):
    for place, _, names in os.walk(folder or "/nowhere"):
        if name in names:
            return os.path.join(place, name)
    return None


def draw(cases, stick, photographs):
    """Draws everything; gives the path of each picture by (folder, number), and says which photograph was not there."""
    begun = datetime.datetime.now(ZONE).replace(microsecond=0) - datetime.timedelta(minutes=90)
    made = {}
    for number, case in enumerate(cases):
        folder = os.path.join(stick, case["folder"])
        os.makedirs(folder)
        said = {} if case.get("unscheduled") else {"version": 1, "accession_number": accession(number), "optic": case["optic"], **case.get("say", {})}
        if said:
            write(os.path.join(folder, "camerabridge.json"), said)
        for place, picture in enumerate(case["pictures"], 1):
            seed = number * 8 + place
            kind = picture["kind"]
            at = begun + datetime.timedelta(minutes=3 * number, seconds=picture.get("at", 20 * place))
            extension = ".PNG" if kind == "png" else ".MPG" if kind == "clip-mpeg2" else CLIP if kind.startswith("clip") else STILL
            path = os.path.join(folder, f"IMG_{place:04d}{extension}")
            seconds = picture.get("seconds", 1)
            if kind.startswith("clip"):
                clip(kind, path, seed, seconds, at)
                at += datetime.timedelta(seconds=seconds)
            elif kind == "photo-retina" and (photo := photograph(photographs, "retina.jpg")):
                shutil.copy(photo, path)
            else:
                still("jpeg-420" if kind.startswith("photo") else kind, path, seed, at)
            if picture.get("say"):
                write(path + ".json", {"version": 1, **picture["say"]})
            os.utime(path, (at.timestamp(), at.timestamp()))
            made[case["folder"], place] = path
    return made


def accession(number):
    return f"CF{number + 1:04d}"


def write(path, value):
    with open(path, "w", encoding="utf-8") as file:
        json.dump(value, file, ensure_ascii=False)


def worklist(cases, folder):
    """Writes the orders as worklist files, each in the character set of its patient."""
    import pydicom
    from pydicom.dataset import Dataset, FileMetaDataset
    from pydicom.uid import ExplicitVRLittleEndian, generate_uid
    os.makedirs(folder)
    with open(os.path.join(folder, "lockfile"), "w", encoding="ascii"):
        pass
    today = datetime.datetime.now(ZONE).strftime("%Y%m%d")
    for number, case in enumerate(cases):
        item = Dataset()
        item.SpecificCharacterSet = case.get("character_set", "ISO_IR 6").split("\\")
        item.AccessionNumber = accession(number)
        item.ReferringPhysicianName = "Referrer^Rosa"
        item.PatientName = case["name"]
        item.PatientID = f"P{number + 1:04d}"
        item.IssuerOfPatientID = "HOLLINVALE"
        item.PatientBirthDate = "19610203" if case.get("birth_date", "") is not None else ""
        item.PatientSex = "F" if number % 2 else "M"
        item.StudyInstanceUID = generate_uid(prefix=None)
        item.RequestedProcedureDescription = f"Photographs: {case['optic']}"
        item.RequestedProcedureID = f"RP{number + 1}"
        step = Dataset()
        step.Modality = case["modality"]
        step.ScheduledStationAETitle = "CONFCAM1"
        step.ScheduledProcedureStepStartDate = today
        step.ScheduledProcedureStepStartTime = "0930"
        step.ScheduledPerformingPhysicianName = "Performer^Pia"
        step.ScheduledProcedureStepDescription = f"Photographs: {case['optic']}"
        step.ScheduledProcedureStepID = f"SPS{number + 1}"
        item.ScheduledProcedureStepSequence = [step]
        item.file_meta = FileMetaDataset()
        item.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
        item.file_meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.31"
        item.file_meta.MediaStorageSOPInstanceUID = generate_uid(prefix=None)
        item.is_little_endian, item.is_implicit_VR = True, False
        pydicom.dcmwrite(os.path.join(folder, f"order{number + 1:02d}.wl"), item, write_like_original=False)
