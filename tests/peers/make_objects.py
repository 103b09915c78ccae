#!/usr/bin/python3
"""make_objects.py FOLDER: right DICOM objects that pydicom wrote and nothing of this project had a hand in, one JSON line for each file.

Stills of four classes and a PDF; clips of two classes where ffmpeg is installed. All people and values are invented. Needs Debian's python3-pydicom
and python3-pil. Attributes by the modules of PS3.3 (2025e) Annex A and C.
"""
import io
import json
import os
import shutil
import subprocess
import sys

from PIL import Image
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.encaps import encapsulate
from pydicom.uid import UID, generate_uid

ENDOSCOPIC = "1.2.840.10008.5.1.4.1.1.77.1.1"
VIDEO_ENDOSCOPIC = "1.2.840.10008.5.1.4.1.1.77.1.1.1"
PHOTOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.4"
VIDEO_PHOTOGRAPHIC = "1.2.840.10008.5.1.4.1.1.77.1.4.1"
OPHTHALMIC = "1.2.840.10008.5.1.4.1.1.77.1.5.1"
DERMOSCOPIC = "1.2.840.10008.5.1.4.1.1.77.1.7"
PDF = "1.2.840.10008.5.1.4.1.1.104.1"
EXPLICIT, JPEG, AVC = "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.4.50", "1.2.840.10008.1.2.4.102"


def code(value, meaning, scheme="SCT"):
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning
    return item


def new(sop_class, syntax, modality):
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = UID(sop_class)
    meta.MediaStorageSOPInstanceUID = generate_uid()
    meta.TransferSyntaxUID = UID(syntax)
    meta.ImplementationClassUID = UID("2.25.5002")
    data = FileDataset(None, {}, file_meta=meta, preamble=b"\0" * 128)
    data.is_little_endian, data.is_implicit_VR = True, False
    data.SpecificCharacterSet = "ISO_IR 192"
    data.SOPClassUID, data.SOPInstanceUID = sop_class, meta.MediaStorageSOPInstanceUID
    data.PatientName, data.PatientID, data.PatientBirthDate, data.PatientSex = "Þórsdóttir^Ása", "INV-7", "19580401", "F"
    data.StudyInstanceUID, data.SeriesInstanceUID = generate_uid(), generate_uid()
    data.StudyDate, data.StudyTime, data.ReferringPhysicianName, data.StudyID, data.AccessionNumber = "20261125", "101500", "", "77", "INV-A7"
    data.Modality, data.SeriesNumber, data.InstanceNumber, data.Manufacturer = modality, 1, 1, "Invented Optics"
    data.ContentDate, data.ContentTime = "20261125", "101530"
    return data


def pixels(data, rows, columns, photometric):
    data.ImageType = ["ORIGINAL", "PRIMARY"]
    data.PatientOrientation = ""
    data.AcquisitionContextSequence = []
    data.SamplesPerPixel, data.PhotometricInterpretation, data.PlanarConfiguration = 3, photometric, 0
    data.Rows, data.Columns, data.BitsAllocated, data.BitsStored, data.HighBit, data.PixelRepresentation = rows, columns, 8, 8, 7, 0
    data.BurnedInAnnotation = "NO"


def region(data, item, side=None, part=None):
    if part:
        data.BodyPartExamined = part
    if side:
        item.AnatomicRegionModifierSequence = [code("24028007", "Right") if side == "R" else code("7771000", "Left")]
        data.ImageLaterality = side
    data.AnatomicRegionSequence = [item]


def put(data, stream, method, uncompressed):
    data.LossyImageCompression, data.LossyImageCompressionMethod = "01", method
    data.LossyImageCompressionRatio = str(round(uncompressed / len(stream), 3))
    data.PixelData = encapsulate([stream + b"\0" * (len(stream) % 2)], has_bot=False)
    data["PixelData"].VR, data["PixelData"].is_undefined_length = "OB", True


def picture(columns=96, rows=64, subsampling=1):
    image = Image.new("RGB", (columns, rows))
    image.putdata([(x * 2 % 256, y * 3 % 256, (x * y) % 256) for y in range(rows) for x in range(columns)])
    buffer = io.BytesIO()
    image.save(buffer, "JPEG", quality=88, subsampling=subsampling)
    return buffer.getvalue()


def still(sop_class, modality):
    data = new(sop_class, JPEG, modality)
    pixels(data, 64, 96, "YBR_FULL_422")
    put(data, picture(), "ISO_10918_1", 64 * 96 * 3)
    return data


def endoscopic():
    data = still(ENDOSCOPIC, "ES")
    region(data, code("84301002", "External auditory canal"), "L")
    return data


def photographic():
    data = still(PHOTOGRAPHIC, "XC")
    region(data, code("123851003", "Mouth"), part="MOUTH")
    data.ViewCodeSequence = [code("399033003", "frontal")]
    return data


def dermoscopic():
    data = still(DERMOSCOPIC, "DMS")
    data.ManufacturerModelName, data.DeviceSerialNumber, data.SoftwareVersions = "D2", "1", "1.0"
    region(data, code("14975008", "Forearm"), "R")
    data.RecognizableVisualFeatures = "NO"
    data.LightSourcePolarization, data.EmitterColorTemperature = "NON_POLARIZED", None
    data.ContactMethod, data.ImmersionMedia, data.OpticalMagnificationFactor = "CONTACT", "MINERAL_OIL", "45"
    data.FrameOfReferenceUID, data.PositionReferenceIndicator = generate_uid(), ""
    return data


def ophthalmic():
    data = still(OPHTHALMIC, "OP")
    data.ImageType = ["ORIGINAL", "PRIMARY", "", "COLOR"]
    region(data, code("5665001", "Retina"), "R")
    data.NumberOfFrames, data.FrameTime, data.FrameIncrementPointer = 1, "0", 0x00181063
    data.AcquisitionDateTime = "20261125101530"
    data.SynchronizationFrameOfReferenceUID, data.SynchronizationTrigger, data.AcquisitionTimeSynchronized = generate_uid(), "NO TRIGGER", "N"
    data.PatientEyeMovementCommanded, data.HorizontalFieldOfView, data.PupilDilated = "NO", 40.0, "YES"
    data.MydriaticAgentSequence, data.DegreeOfDilation = [], None
    data.RefractiveStateSequence, data.EmmetropicMagnification, data.IntraOcularPressure = [], None, None
    data.AcquisitionDeviceTypeCodeSequence = [code("409898007", "Fundus Camera")]
    data.IlluminationTypeCodeSequence, data.LensesCodeSequence = [], []
    data.LightPathFilterTypeStackCodeSequence, data.ImagePathFilterTypeStackCodeSequence, data.DetectorType = [], [], "CMOS"
    return data


def document():
    data = new(PDF, EXPLICIT, "DOC")
    data.ConversionType, data.BurnedInAnnotation = "SYN", "YES"
    data.AcquisitionDateTime, data.DocumentTitle, data.ConceptNameCodeSequence = "", "", []
    data.MIMETypeOfEncapsulatedDocument = "application/pdf"
    text = b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj 2 0 obj<</Type/Pages/Kids[]/Count 0>>endobj\ntrailer<</Root 1 0 R>>\n%%EOF\n"
    data.EncapsulatedDocument, data.EncapsulatedDocumentLength = text + b"\0" * (len(text) % 2), len(text)
    return data


def clip(sop_class, modality, folder):
    path = os.path.join(folder, "clip.mp4")
    if not os.path.exists(path):
        subprocess.run(
            ["ffmpeg", "-loglevel", "error", "-y", "-f", "lavfi", "-i", "testsrc2=size=320x240:rate=30:duration=1", "-c:v", "libx264", "-profile:v", "high",
             "-level", "4.1", "-pix_fmt", "yuv420p", "-movflags", "+faststart", path], check=True)
    with open(path, "rb") as file:
        stream = file.read()
    data = new(sop_class, AVC, modality)
    pixels(data, 240, 320, "YBR_PARTIAL_420")
    if modality == "ES":
        region(data, code("84301002", "External auditory canal"), "L")
    else:
        region(data, code("69536005", "Head"), part="HEAD")
    data.NumberOfFrames, data.CineRate, data.FrameTime, data.FrameIncrementPointer = 30, 30, "33.333", 0x00181063
    put(data, stream, "ISO_14496_10", 240 * 320 * 3 * 30)
    return data


def main():
    folder = sys.argv[1]
    os.makedirs(folder, exist_ok=True)
    makers = [("endoscopic", endoscopic), ("photographic", photographic), ("dermoscopic", dermoscopic), ("ophthalmic", ophthalmic), ("pdf", document)]
    if shutil.which("ffmpeg"):
        makers.append(("video-endoscopic", lambda: clip(VIDEO_ENDOSCOPIC, "ES", folder)))
        makers.append(("video-photographic", lambda: clip(VIDEO_PHOTOGRAPHIC, "XC", folder)))
    for name, make in makers:
        path = os.path.join(folder, name + ".dcm")
        make().save_as(path, write_like_original=False)
        print(json.dumps({"path": path}))


if __name__ == "__main__":
    main()
