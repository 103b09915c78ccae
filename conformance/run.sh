#!/usr/bin/env bash
# Usage: conformance/run.sh [PROGRAM]
# Makes objects of every optic through the real flow and has independent programs judge them; writes report.html and report.json beside this file
# (git leaves them alone). PROGRAM is a built camerabridge; without it, one is built. tests/run.sh installs what is needed and runs this as well.
# CAMERABRIDGE_CONFORMANCE_OBJECTS=FOLDER keeps the objects there.
set -euo pipefail
cd "$(dirname "$0")/.."
for program in dciodvfy dcentvfy gdcmdump wlmscpfs storescp ffmpeg gcc /usr/sbin/Orthanc /usr/bin/python3; do
  command -v "$program" >/dev/null || { echo "conformance/run.sh: $program is missing; tests/run.sh installs it, or: apt-get install dicom3tools libgdcm-tools dcmtk ffmpeg gcc orthanc python3" >&2; exit 2; }
done
program=${1:-}
if [ -z "$program" ]; then
  dotnet build src/CameraBridge -c Release -clp:ErrorsOnly -v quiet
  program=src/CameraBridge/bin/Release/net10.0/camerabridge
fi
: "${CAMERABRIDGE_PHOTOS:=$PWD/artifacts/peers/photos}"
export CAMERABRIDGE_PHOTOS PYTHONDONTWRITEBYTECODE=1
exec /usr/bin/python3 conformance/run.py "$program" "${CAMERABRIDGE_CONFORMANCE_REPORT:-conformance}"
