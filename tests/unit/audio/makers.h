// Small writers of audio files for the tests of the audio layer, written from the published layouts and independent of
// the readers they test; and access to the tools that write such files in the field.
#pragma once

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "audio/file.h"

namespace makers {

/// A byte string under construction; numbers little- or big-endian.
struct Maker {
  std::string bytes;
  Maker& text(std::string_view t) {
    bytes += t;
    return *this;
  }
  Maker& le(std::uint64_t value, int width);
  Maker& be(std::uint64_t value, int width);
  Maker& fill(std::size_t count, char c = '\0') {
    bytes.append(count, c);
    return *this;
  }
};

/// id, 32-bit size, body, and a zero pad byte after an odd body.
[[nodiscard]] std::string chunk(std::string_view id, std::string_view body, bool big_endian = false);

struct Wave {
  int channels = 2;
  int rate = 48'000;
  int bits = 16;
  int tag = 1;  ///< 1 PCM, 3 float
  bool extensible = false;
  int valid_bits = 0;  ///< 0: as bits
  std::uint32_t mask = 3;
  std::optional<int> block_align;
  std::optional<std::uint32_t> byte_rate;
};
/// The body of a `fmt ` chunk.
[[nodiscard]] std::string format_body(const Wave& wave, bool big_endian = false);
/// RIFF, size, WAVE, then the chunks as they are.
[[nodiscard]] std::string riff(std::string_view chunks, std::string_view form = "RIFF",
                               std::optional<std::uint32_t> size = {});
/// A whole plain WAV.
[[nodiscard]] std::string wav(const Wave& wave, std::string_view samples);
/// RF64 or BW64 with a right ds64 and 32-bit sizes of FFFFFFFFh.
[[nodiscard]] std::string wide(std::string_view form, const Wave& wave, std::string_view samples);

/// Samples of a soft two-tone signal as little-endian PCM of 2 or 3 bytes: audio as a chunk walk may meet it.
[[nodiscard]] std::string tone(std::int64_t frames, int channels, int bytes);

/// What a pass over a whole source delivers.
struct Decoded {
  std::vector<std::int32_t> codes;
  std::vector<double> reals;
  std::int64_t frames = 0;
};
/// Reads to the end in blocks of the given size.
[[nodiscard]] /// A copy that outlives the test's next few hundred files: what is opened from memory reads from it later.
const std::string& kept(std::string bytes);

Decoded decode(sendworthy::audio::Source& source, std::int64_t block = 1000);

/// Whether any of the findings holds the text.
[[nodiscard]] bool mentions(const std::vector<sendworthy::audio::Damage>& list, std::string_view text);
/// All findings in one line, for failure messages.
[[nodiscard]] std::string joined(const std::vector<sendworthy::audio::Damage>& list);

/// A folder that is gone when the test ends.
class Folder {
 public:
  Folder();
  ~Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return (path_ / name).string(); }
  [[nodiscard]] std::string path() const { return path_.string(); }
  std::string write(const std::string& name, std::string_view bytes) const;

 private:
  std::filesystem::path path_;
};

[[nodiscard]] std::string contents(const std::string& path);

/// Whether a program can be started. When it cannot, says so in the test's output.
[[nodiscard]] bool have(const std::string& program);
/// Runs a shell command quietly; true when it ended with 0.
bool run(const std::string& command);

}  // namespace makers
