#!/usr/bin/env bash
# Builds everything, brings the independent peers and photographs that the tests need, runs all tests, and ends with "N passed, N failed".
# Made for a bare Debian 12 with the .NET SDK; run again, it installs and fetches nothing.
set -uo pipefail
cd "$(dirname "$0")/.." || exit 1

fail() {
  echo "tests/run.sh: $*" >&2
  echo "0 passed, 1 failed"
  exit 1
}

if ! command -v dotnet >/dev/null || ! dotnet --list-sdks 2>/dev/null | grep -q '^10\.'; then
  echo "The .NET 10 SDK is missing. On Debian: add Microsoft's package source, then 'apt-get install dotnet-sdk-10.0'; or follow" >&2
  echo "https://dotnet.microsoft.com/download/dotnet/10.0 and put 'dotnet' on the PATH." >&2
  fail "no .NET 10 SDK"
fi
export DOTNET_CLI_TELEMETRY_OPTOUT=1 DOTNET_NOLOGO=1

# The peers: dcmtk (worklist, receiver, senders), Orthanc (archive, worklist), dicom3tools (validator), pydicom and GDCM (readers), djpeg (decoder),
# ffmpeg (clips), dcmjs-dimse of npm (RIS and archive), PostgreSQL (state of several workers; the tests start a server of their own),
# iproute2 and nftables (a network of its own that is narrow and drops), nginx and tinyproxy (what stands before web archives), zint (draws codes),
# python3-stdnum (check digits), poppler and ZBar (printed cards rendered and read).
packages=(dcmtk orthanc orthanc-dicomweb dicom3tools ffmpeg libgdcm-tools python3-pydicom python3-gdcm python3-pil python3-numpy libjpeg-turbo-progs gcc libc6-dev curl
  procps postgresql iproute2 nftables nginx-light tinyproxy zint python3-stdnum poppler-utils zbar-tools)
command -v npm >/dev/null || packages+=(npm)
missing=()
for package in "${packages[@]}"; do
  dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'install ok installed' || missing+=("$package")
done
if [ ${#missing[@]} -gt 0 ]; then
  as_root=()
  [ "$(id -u)" = 0 ] || as_root=(sudo)
  echo "Installing: ${missing[*]}"
  "${as_root[@]}" apt-get update -qq || fail "apt-get update did not work; the peers cannot be installed"
  DEBIAN_FRONTEND=noninteractive "${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}" >artifacts-apt.log 2>&1 \
    || { tail -5 artifacts-apt.log >&2; fail "these packages could not be installed: ${missing[*]}"; }
  rm -f artifacts-apt.log
fi

mkdir -p artifacts/peers artifacts/results
export CAMERABRIDGE_PHOTOS="$PWD/artifacts/peers/photos"
bash tests/peers/fetch_photos.sh "$CAMERABRIDGE_PHOTOS" || fail "the photographs could not be fetched"

export CAMERABRIDGE_CLIPS="$PWD/artifacts/peers/clips"
bash tests/peers/make_clips.sh "$CAMERABRIDGE_CLIPS" || fail "the clips could not be drawn"

# The RIS and archive of npm (performed steps, storage commitment), at the versions of its lock file.
node_peer=artifacts/peers/dimse
if ! cmp -s tests/peers/dimse/package-lock.json "$node_peer/package-lock.json" || [ ! -d "$node_peer/node_modules/dcmjs-dimse" ]; then
  mkdir -p "$node_peer" && cp tests/peers/dimse/package.json tests/peers/dimse/package-lock.json "$node_peer/"
  (cd "$node_peer" && npm ci --no-audit --no-fund --silent) || fail "the packages of tests/peers/dimse could not be installed by npm"
fi

dotnet build CameraBridge.sln -c Release -clp:ErrorsOnly -v quiet || fail "the build has errors"

rm -rf artifacts/results/*
tests/CameraBridge.Tests/bin/Release/net10.0/CameraBridge.Tests -result-trx "$PWD/artifacts/results/tests.trx" "$@"
code=$?

# The closing line is counted from the result file; a test host that crashed wrote none, which is a failure.
[ -s artifacts/results/tests.trx ] || fail "the tests ended without a result (exit code $code)"
counters=$(grep -o '<Counters [^>]*>' artifacts/results/tests.trx | head -1)
count() { echo "$counters" | grep -o " $1=\"[0-9]*\"" | grep -o '[0-9]*' || echo 0; }
passed=$(count passed)
failed=$(($(count failed) + $(count error) + $(count timeout) + $(count aborted)))
skipped=$(count notExecuted)
# A skipped test is a peer that was not there, or a promise not kept: it counts as failed.
failed=$((failed + skipped))
[ "$code" = 0 ] || [ "$failed" -gt 0 ] || failed=1
[ "$passed" -gt 0 ] || [ "$failed" -gt 0 ] || failed=1

# Again at the end, where whoever reads a long log looks: what failed, and the first words of why.
python3 - artifacts/results/tests.trx <<'PYTHON'
import sys
import xml.etree.ElementTree as xml

space = "{http://microsoft.com/schemas/VisualStudio/TeamTest/2010}"
for result in xml.parse(sys.argv[1]).iter(space + "UnitTestResult"):
    if result.get("outcome") != "Passed":
        message = result.findtext(f"{space}Output/{space}ErrorInfo/{space}Message") or "no message"
        print(f"{result.get('outcome')}: {result.get('testName')}\n  " + "\n  ".join(message.strip().splitlines()[:6]))
PYTHON
echo "$passed passed, $failed failed"
[ "$failed" = 0 ]
