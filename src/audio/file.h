// A file on disk → facts from our own chunk walk, tags, and a stream of blocks.
#pragma once

#include <sendworthy/result.h>
#include <sendworthy/sheet.h>

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <vector>

namespace sendworthy::audio {

/// What a sample is before any conversion. Lossy codecs deliver reals.
enum class SampleKind { integer, real };

/// One loudspeaker position per channel, as far as the file says.
enum class Speaker {
  unknown,
  left,
  right,
  centre,
  lfe,
  left_surround,
  right_surround,
  left_back,
  right_back,
  centre_back,
  other
};

struct StreamFormat {
  int sample_rate = 0;  ///< Hz, 1 … 768 000 (checks cover 8 000 … 384 000)
  int channels = 0;     ///< 1 … kMaxChannels
  SampleKind kind = SampleKind::integer;
  int container_bits =
      0;  ///< integer: 8, 16, 24, 32 (width of a code before left-justifying); real: 32 or 64; lossy: 0
  bool lossy = false;
  std::vector<Speaker> speakers;  ///< size = channels
  std::string layout;             ///< "mono", "stereo", "5.1", …; "6 channels, layout unknown"
  bool layout_known = true;
};
inline constexpr int kMaxChannels = 256;

/// Damage met on the way, beside the data: it does not end the pass when the rest can be read.
struct Damage {
  std::string text;  ///< "data chunk says 1 000 frames, 480 are there"
  std::int64_t byte_offset = -1;
  std::int64_t frame = -1;
  bool slip = false;  ///< nothing is lost by it: a size never filled in or a little off, a check that was left out
};

/// A stream of frames, in order, read once. Not thread-safe; may move between threads.
class Source {
 public:
  virtual ~Source() = default;
  [[nodiscard]] virtual const StreamFormat& format() const = 0;
  /// Frames the header promises; nothing when it promises nothing. For progress only, never for allocation.
  [[nodiscard]] virtual std::optional<std::int64_t> expected_frames() const = 0;
  /// Fills `interleaved` (frames × channels) with left-justified codes; for kind integer. Returns frames, 0 at the end.
  [[nodiscard]] virtual std::int64_t read_codes(std::int32_t* interleaved, std::int64_t frames) = 0;
  /// The same for kind real: full scale is ±1.0, NaN and infinities as they stand in the file.
  [[nodiscard]] virtual std::int64_t read_reals(double* interleaved, std::int64_t frames) = 0;
  /// Passes over up to so many frames unread, where the form of the file allows it; 0 where it does not, or at the end.
  [[nodiscard]] virtual std::int64_t skip(std::int64_t /*frames*/) { return 0; }
  /// Damage known so far; complete once a read returned 0 (wrong FLAC MD5, missing Ogg end, decoder errors, short
  /// data).
  [[nodiscard]] virtual const std::vector<Damage>& damage() const = 0;
};

/// A free text found in the file, with where it stood.
struct TextField {
  std::string origin;  ///< "bext", "INFO", "iXML", "ID3v2", …
  std::string name;    ///< "Originator", "IART", …
  std::string value;   ///< any bytes
};

/// What the first bytes of a picture say. Nothing is decoded.
struct PictureHead {
  std::string format;       ///< "JPEG", "PNG", "GIF", "WebP"; empty when it is none of them
  int width = 0, height = 0;  ///< pixels
  std::string colour;       ///< "RGB", "grey", "CMYK", "palette", with ", transparent" behind it where that is so
  std::string trouble;      ///< why the size is not known; empty when it is
};

/// A picture inside the file; its bytes stay there.
struct Artwork {
  std::string origin;             ///< "ID3v2", "FLAC picture", …
  std::string mime;               ///< as the file says; may be empty
  std::int64_t byte_offset = -1;  ///< of the picture itself; -1 when it is stored in an encoded form
  std::int64_t bytes = 0;
  PictureHead head;
};

/// A loop that a sampler chunk names; both frames belong to it. As the file says: they may lie outside of it.
struct LoopPoints {
  std::int64_t start = 0, end = 0;
};

/// A place that somebody named in the file: a cue point of the RIFF family, a marker of AIFF. As the file says: the frame may lie
/// outside of it, several may share one, and the order is the file's.
struct Marker {
  std::int64_t frame = 0;
  std::string name;  ///< any bytes, up to the first NUL, at most 1 KiB; empty where it has no label
};

/// Everything the container says, before a sample was decoded.
struct FileFacts {
  std::string path;
  std::string container;  ///< "WAV", "RIFX", "RF64", "BW64", "W64", "AIFF", "AIFF-C", "CAF", "FLAC", "Ogg Vorbis",
                          ///< "Opus", "MP3", "M4A", "MP4" (with a picture track), "QuickTime"
  std::string container_note;  ///< what is worth knowing of how it is built; may be empty
  std::string encoding;   ///< "PCM 24-bit", "PCM 24-bit (in 32)", "float 32-bit", "Vorbis", "MPEG-1 layer III", …
  std::int64_t file_size = 0;
  std::optional<int> bit_depth;                 ///< nothing for lossy; valid bits where EXTENSIBLE says so
  std::optional<std::int64_t> declared_frames;  ///< what the header says
  std::optional<std::int64_t> walked_frames;    ///< what the bytes present can hold, by our own walk
  std::optional<std::uint32_t> channel_mask;    ///< WAVEFORMATEXTENSIBLE, as it stands
  std::optional<double> bit_rate_kbit_s;        ///< of the audio data; lossy: measured over the stream
  std::string bit_rate_mode;                    ///< "constant", "variable", "" when it makes no sense (PCM)
  std::vector<std::string> chunks;     ///< ids in order, "fmt ", "bext", "data"; four-character codes cleaned for print
  std::int64_t chunks_total = 0;       ///< chunks is capped at 64
  std::vector<std::string> unusual_chunks;  ///< RIFF family and AIFF: unknown ids and oversized padding, "xyz! (500 bytes)"
  std::int64_t unusual_chunks_total = 0;    ///< unusual_chunks is capped at 64
  std::optional<bool> bext_first;      ///< RIFF family: bext stands before the data; nothing: there is none
  std::vector<Damage> contradictions;  ///< found by the walk, each with its byte offset
  std::int64_t trailing_bytes = 0;     ///< after the last chunk the header accounts for
  bool extension_matches = true;
  std::string extension_note;  ///< "named .wav, holds Ogg Vorbis"
  std::int64_t embedded_artwork_bytes = 0;
  std::vector<Artwork> artworks;  ///< capped at 64; embedded_artwork_bytes counts all
  std::vector<Tag> tags;
  std::vector<TextField> text_fields;
  std::vector<LoopPoints> loops;  ///< in the order of the file, capped at 64
  std::vector<Marker> markers;    ///< in the order of the file, capped at 256
  bool ixml_cut = false;  ///< the iXML is longer than what is read of it
  std::string decoder;      ///< the helper program that decodes it, with its version; empty: a library does
  std::string not_decoded;  ///< why there is no decoder for it here, and the remedy; the source is then empty
};

struct OpenedFile {
  FileFacts facts;
  std::unique_ptr<Source> source;
  std::shared_ptr<const bool> reading_failed;  ///< true: the system could not read a part, which need not be so next time; null in memory
};

/// Walks, then opens. Errors: missing, unreadable, unrecognised, no_audio; each names the file, the reason, the remedy.
/// The file is opened read-only and only if it is a regular file.
[[nodiscard]] Result<OpenedFile> open_file(const std::string& path);

/// The same over bytes in memory, for tests and fuzzing. The bytes must outlive the result.
[[nodiscard]] Result<OpenedFile> open_bytes(std::string_view bytes, const std::string& shown_path);

/// Whether a regular file of this name that can be opened stands in the folder of `path`.
[[nodiscard]] bool file_beside(const std::string& path, const std::string& name);

/// Lower-case hexadecimal SHA-256 of a whole file; reads in blocks. `stop` may be null.
[[nodiscard]] Result<std::string> sha256_of_file(const std::string& path);

/// Paths of audio files directly in a folder (or below it), by extension, sorted by bytes. Error: no_audio when none.
enum class Depth { here, below };
[[nodiscard]] Result<std::vector<std::string>> audio_files_in(const std::string& folder, Depth depth);

/// The helper program that would decode M4A here, as FileFacts::decoder names it; nothing when there is none. What was made
/// of such a file depends on it.
[[nodiscard]] std::optional<std::string> decoding_helper();

/// Versions of the libraries behind this folder.
[[nodiscard]] std::vector<std::pair<std::string, std::string>> audio_library_versions();

}  // namespace sendworthy::audio
