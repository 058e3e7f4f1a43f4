// Our own walk through a container, before any library sees it: strict, bounds-checked, bounded in time and memory,
// and able to say at which byte a header contradicts itself or the file.
#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "audio/bytes.h"
#include "audio/file.h"

namespace sendworthy::audio {

enum class Codec { pcm, ieee_float, a_law, mu_law, ms_adpcm, ima_adpcm, gsm, flac, vorbis, opus, mpeg, aac, alac };

/// Where the samples lie and how they are written.
struct SampleData {
  Codec codec = Codec::pcm;
  bool big_endian = false;
  bool unsigned_codes = false;             ///< 8-bit WAV
  int sample_bytes = 0;                    ///< per channel, plain PCM and float only
  int frame_bytes = 0;                     ///< all channels (plain), or one packet of the codec
  int packet_frames = 1;                   ///< frames in such a packet; AAC and ALAC: at most
  std::int64_t packets = 0;                ///< AAC and ALAC: how many the tables name
  std::int64_t offset = 0;                 ///< first byte of sample data
  std::int64_t bytes = 0;                  ///< what the header says, never beyond the end of the file
  std::vector<std::uint8_t> decoder_head;  ///< put before the data for the decoding library; written by the walk
};

struct Walked {
  FileFacts facts;
  StreamFormat format;
  SampleData data;
  std::optional<std::int64_t> expected_frames;
  std::vector<Damage>
      stream_damage;  ///< damage of the stream rather than of the header: it belongs to Source::damage()
  std::optional<std::array<std::uint8_t, 16>> md5;  ///< FLAC: of the unencoded samples
  int md5_sample_bytes = 0;
};

/// Reads the header and everything around the samples. Never decodes. Errors: unreadable, unrecognised, no_audio.
[[nodiscard]] Result<Walked> walk(Bytes& bytes, const std::string& path);

// --- shared by the walks of the single containers ---

inline constexpr std::int64_t kMaxChunksWalked = 16'384;
inline constexpr std::size_t kMaxChunksListed = 64;
inline constexpr std::size_t kMaxArtworks = 64;
inline constexpr std::int64_t kMostPaddingBytes = 1 << 20;  ///< nobody reserves more on purpose; a heuristic
inline constexpr std::size_t kMaxDamage = 100;
inline constexpr std::size_t kMaxTexts = 256;
inline constexpr std::int64_t kMaxTextBytes = 64 << 10;
inline constexpr std::size_t kMaxMarkers = 256;
inline constexpr std::size_t kMaxMarkerName = 1 << 10;
inline constexpr std::int64_t kMaxTagBytes = 16 << 20;
inline constexpr int kMaxSampleRate = 768'000;

/// A walk in progress: the window, the result so far, and what every container needs.
class Walk {
 public:
  Walk(Bytes& bytes, const std::string& path) : window(bytes) {
    result.facts.path = path;
    result.facts.file_size = bytes.size();
  }

  /// A contradiction at a byte of the file; further ones are counted once the list is full.
  void contradict(std::int64_t byte_offset, std::string text, bool slip = false);
  void damage(std::int64_t byte_offset, std::string text, std::int64_t frame = -1, bool slip = false);
  void chunk(std::string_view id);
  /// A chunk that no known program writes, or one of padding that is far too large.
  void unusual(std::string_view id, std::int64_t bytes);
  void text(std::string origin, std::string name, std::string_view value);
  /// The label of a cue point; it may come before the point itself.
  void label(std::uint32_t cue_point, std::string_view name);
  /// `name` is noted as what the tag is called here, whatever its kind calls it: "track", "upc" …
  void tag(std::string name, std::string_view value, std::string origin);
  /// `in_memory` holds the picture, or its beginning, where it cannot be read from the file as it stands there.
  void artwork(std::string origin, std::string_view mime, std::int64_t byte_offset, std::int64_t bytes,
               std::span<const std::uint8_t> in_memory = {});
  /// An error about this file: `path: reason`.
  [[nodiscard]] tl::unexpected<Error> refuse(ErrorCode code, const std::string& reason) const;
  /// Checks channels and rate of a header against what can be worked with.
  [[nodiscard]] Result<void> check_format(std::int64_t channels, double sample_rate) const;
  [[nodiscard]] std::int64_t size() const { return window.size(); }

  Window window;
  Walked result;
  std::map<std::uint32_t, std::string> labels;  ///< by the id of the cue point; the first of each, at most kMaxMarkers
};

[[nodiscard]] Result<void> walk_riff(Walk& walk);
[[nodiscard]] Result<void> walk_w64(Walk& walk);
[[nodiscard]] Result<void> walk_aiff(Walk& walk);
[[nodiscard]] Result<void> walk_caf(Walk& walk);
[[nodiscard]] Result<void> walk_flac(Walk& walk, std::int64_t start);
[[nodiscard]] Result<void> walk_ogg(Walk& walk, std::int64_t start);
/// The MP4 family (ISO/IEC 14496-12): M4A, MP4, QuickTime, around AAC or ALAC.
[[nodiscard]] Result<void> walk_mp4(Walk& walk);
/// MPEG audio in a range of the file. `in_container` when a WAV holds it.
[[nodiscard]] Result<void> walk_mpeg(Walk& walk, std::int64_t start, std::int64_t end, bool in_container);
/// Whether a run of MPEG audio frames starts within the first 64 KiB from `start`.
[[nodiscard]] bool looks_like_mpeg(Window& window, std::int64_t start);

/// Bytes that follow the samples and are no legal chunks. Notes them, and whether they look like more audio.
/// Sets trailing_bytes; adds to walked_frames when they directly follow the samples.
void judge_tail(Walk& walk, std::int64_t tail, bool follows_samples);

/// Facts of plain PCM or float, from result.data and result.format: encoding text, bit rate, walked frames.
void finish_plain(Walk& walk, int valid_bits);

/// The sum of frames that `bytes` can hold.
[[nodiscard]] std::int64_t frames_in(const SampleData& data, std::int64_t bytes);

/// "1 234 567": digits in groups, for messages.
[[nodiscard]] std::string grouped(std::int64_t number);
/// A chunk id for print: characters outside printable ASCII as \xNN.
[[nodiscard]] std::string printable(std::string_view id);
/// Lower-case extension without the dot; empty when there is none.
[[nodiscard]] std::string extension_of(std::string_view path);

}  // namespace sendworthy::audio
