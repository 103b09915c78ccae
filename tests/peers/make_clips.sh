#!/usr/bin/env bash
# Usage: tests/peers/make_clips.sh FOLDER
# Draws clips with ffmpeg, one or several of each kind that cameras write, conforming and not, and unpacks two that a Debian package carries.
# The patterns are ffmpeg's own (testsrc2, a sine tone). About 30 s; a complete folder is left alone.
set -euo pipefail
target=${1:?name the folder to fill}
[ -f "$target/complete" ] && exit 0
mkdir -p "$target"
cd "$target"

ff() { timeout 120 ffmpeg -hide_banner -loglevel error -nostdin -y -fflags +bitexact "$@"; }
hd=(-f lavfi -i testsrc2=size=1280x720:rate=30:duration=2)
small=(-f lavfi -i testsrc2=size=640x480:rate=25:duration=2)
tone() { echo "-f lavfi -i sine=frequency=440:sample_rate=$1:duration=2"; }
high=(-c:v libx264 -preset veryfast -pix_fmt yuv420p -profile:v high -level:v 4.1)

# Conforming: H.264 High, HEVC, MPEG-2.
ff "${hd[@]}" "${high[@]}" -bf 2 -g 15 -metadata creation_time=2026-11-25T09:00:00Z -movflags +faststart high41.mp4
ff "${hd[@]}" "${high[@]}" high41_index_behind.mp4
ff "${hd[@]}" $(tone 48000) "${high[@]}" -c:a aac -ac 2 -b:a 96k -shortest high41_aac48.mp4
ff -f lavfi -i testsrc2=size=1920x1080:rate=30000/1001:duration=1 "${high[@]}" high41_1080p2997.mp4
ff -f lavfi -i testsrc2=size=1920x1080:rate=60:duration=1 -c:v libx264 -preset veryfast -pix_fmt yuv420p -profile:v high -level:v 4.2 high42_1080p60.mp4
ff -f lavfi -i testsrc2=size=1920x1080:rate=25:duration=1 "${high[@]}" -flags +ilme+ildct -x264-params tff=1 high41_1080i25.mp4
ff -f lavfi -i testsrc2=size=1918x1078:rate=25:duration=1 "${high[@]}" high41_cropped.mp4
ff "${hd[@]}" $(tone 48000) "${high[@]}" -c:a aac -ac 2 -shortest -f mpegts high41.ts
ff "${hd[@]}" -c:v libx265 -preset ultrafast -pix_fmt yuv420p -profile:v main -x265-params log-level=error:level-idc=5.1:no-high-tier=1 -tag:v hvc1 -movflags +faststart hevc_main.mp4
ff "${hd[@]}" -c:v libx265 -preset ultrafast -pix_fmt yuv420p10le -profile:v main10 -x265-params log-level=error -tag:v hvc1 hevc_main10.mp4
ff "${hd[@]}" -c:v libx265 -preset ultrafast -pix_fmt yuv420p -profile:v main -x265-params log-level=error:repeat-headers=1 -tag:v hev1 hevc_in_band.mp4
mpeg2=(-c:v mpeg2video -profile:v 4 -g 12)
ff -f lavfi -i testsrc2=size=720x576:rate=25:duration=2 "${mpeg2[@]}" -level:v 8 -b:v 4M -maxrate 9M -bufsize 1835k -aspect 4:3 -f mpegts mpeg2_mpml_576p25.ts
ff -f lavfi -i testsrc2=size=1280x720:rate=25:duration=1 "${mpeg2[@]}" -level:v 4 -b:v 8M -aspect 16:9 -f mpegts mpeg2_mphl_720p25.ts

# A container that has to change.
ff -i high41.mp4 -c copy -f mov high41.mov
ff "${hd[@]}" "${high[@]}" -movflags +frag_keyframe+empty_moov+default_base_moof high41_fragmented.mp4
ff -i high41_aac48.mp4 -c copy high41.mkv
ff -i high41_aac48.mp4 -c copy -f mpegts -mpegts_m2ts_mode 1 high41.m2ts
ff -f lavfi -i testsrc2=size=720x576:rate=25:duration=2 "${mpeg2[@]}" -level:v 8 -b:v 4M -maxrate 9M -bufsize 1835k -aspect 4:3 -f vob mpeg2_mpml_576p25.mpg
ff -f lavfi -i testsrc2=size=720x480:rate=30000/1001:duration=1 $(tone 48000) "${mpeg2[@]}" -level:v 8 -b:v 4M -c:a mp2 -b:a 192k -shortest -f vob mpeg2_mpml_480_mp2.mpg

# A label that has to change.
ff "${hd[@]}" -c:v libx264 -preset veryfast -pix_fmt yuv420p -profile:v high -level:v 5.1 high51.mp4

# Sound that has to change.
ff "${hd[@]}" $(tone 44100) "${high[@]}" -c:a aac -ac 1 -shortest high41_aac44_mono.mp4
ff "${hd[@]}" $(tone 44100) "${high[@]}" -c:a pcm_s16le -shortest -f mov high41_pcm.mov

# Pictures that have to change.
ff "${hd[@]}" -c:v libx264 -preset veryfast -pix_fmt yuv420p -profile:v baseline -level:v 3.1 -bf 0 constrained_baseline31.mp4
ff "${hd[@]}" -c:v libx264 -preset veryfast -pix_fmt yuv420p -profile:v main -level:v 3.1 main31.mp4
ff "${small[@]}" -c:v libx264 -preset veryfast -pix_fmt yuv422p10le -profile:v high422 high422_10bit.mp4
ff "${small[@]}" -c:v libx264 -preset veryfast -pix_fmt yuv444p high444.mp4
ff -i high41.mp4 -c copy -metadata:s:v:0 rotate=90 high41_rotated90.mp4
ff -f lavfi -i "testsrc2=size=640x480:rate=30:duration=2,settb=1/90000,setpts='PTS+if(mod(N,3),900,0)'" -fps_mode passthrough -enc_time_base 1/90000 \
  -video_track_timescale 90000 "${high[@]}" high41_uneven.mp4
ff -f lavfi -i testsrc2=size=720x576:rate=25:duration=1,setsar=16/15 "${high[@]}" high41_wide_pixels.mp4
ff "${small[@]}" "${high[@]}" -vf scale=out_range=pc -color_range pc high41_full_range.mp4
ff "${small[@]}" -c:v mjpeg -q:v 5 -pix_fmt yuvj420p mjpeg.avi
ff "${small[@]}" -c:v mpeg4 -q:v 5 mpeg4_part2.mp4
ff -f lavfi -i testsrc2=size=3840x2160:rate=10:duration=0.3 -c:v libx264 -preset ultrafast -pix_fmt yuv420p high_2160p.mp4
ff -ss 0.7 -i high41.mp4 -c copy high41_edited.mp4
ff "${hd[@]}" -c:v libx265 -preset ultrafast -pix_fmt yuv420p -profile:v main -x265-params log-level=error:level-idc=5.1 -tag:v hvc1 hevc_high_tier.mp4

# Cut off: behind an index in front, and before one behind.
head -c $(($(stat -c%s high41.mp4) / 2)) high41.mp4 >cut_behind_index.mp4
head -c $(($(stat -c%s high41_index_behind.mp4) / 2)) high41_index_behind.mp4 >cut_before_index.mp4
head -c $(($(stat -c%s mjpeg.avi) / 2)) mjpeg.avi >cut.avi
head -c $(($(stat -c%s high41_fragmented.mp4) * 2 / 3)) high41_fragmented.mp4 >cut_fragmented.mp4
head -c 200003 mpeg2_mpml_576p25.mpg >cut.mpg
head -c 200003 high41.ts >cut.ts

# Clips that nobody here drew.
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
chmod a+rwx "$work"
if (cd "$work" && apt-get download -qq python3-imageio >/dev/null 2>&1); then
  dpkg-deb --fsys-tarfile "$work"/*.deb | tar -x -C "$work" --wildcards '*.mp4' 2>/dev/null || true
  find "$work" -name '*.mp4' -exec sh -c 'cp "$1" "package_$(basename "$1")"' _ {} \;
fi
[ -f package_realshort.mp4 ] || echo "make_clips: the clips of python3-imageio could not be fetched" >&2
echo "$(find . -maxdepth 1 -type f | wc -l) clips in $target"
touch complete
