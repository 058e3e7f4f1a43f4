// Packaged music with one small defect put into it, as a file on disk.
#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace sendworthy::test {

/// Planar samples, full scale ±1.
struct Clip {
  int rate = 48000;
  std::vector<std::vector<double>> channels;
  [[nodiscard]] std::int64_t frames() const { return channels.empty() ? 0 : static_cast<std::int64_t>(channels[0].size()); }
  Clip& gain_db(double db);
  Clip& each(const std::function<double(double)>& f);
};

/// A folder of its own below the temporary one, gone with its owner.
struct Folder {
  std::string path;
  Folder();
  ~Folder();
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
};

/// How a clip is written, and what is wrong with the file around it.
struct Wrapping {
  std::string container = "WAV";  ///< as the measurement "container" names it
  int bits = 24;                  ///< 32 with `real`: float
  bool real = false;
  std::string codec;              ///< "ulaw" for a coded WAV
  int bit_rate_kbit_s = 192;
  bool variable_bit_rate = false;
  bool bext = false;
  bool artwork = false;
  int trailing_bytes = 0;
  bool data_size_lies = false;    ///< the header hides the second half
  int outer_size_off = 0;         ///< added to the RIFF size
  bool no_md5 = false;            ///< FLAC: as encoders leave it that write into a pipe
  bool corrupt = false;           ///< a few bytes of the coded stream are turned over
  bool swap_bytes = false;
  std::string extension;          ///< another than the container's own
  std::int64_t pad_file_to = 0;   ///< bytes of tag in front of an MP3
  std::string name;               ///< another than the caller's
  std::vector<std::pair<std::string, std::string>> id3;   ///< frames of a WAV: id ("TXXX:BARCODE" for a text of one's own), value
  std::vector<std::pair<std::string, std::string>> info;  ///< items of LIST INFO of a WAV
  std::string picture;            ///< first bytes of the embedded picture; "" with `artwork`: no picture at all
  std::string title;              ///< tag of an MP3
  bool sister = false;            ///< writes the same once more with the name's last letter L turned into R
  std::uint32_t speakers = 0;     ///< mask of an extensible WAV header; 0: a plain header
  std::string history;            ///< of bext
  std::uint64_t start_sample = 0; ///< of bext
  std::string ixml;
  std::optional<std::pair<std::uint32_t, std::uint32_t>> loop;  ///< first and last frame, in a smpl chunk
  std::optional<int> loudness;    ///< of bext, hundredths of a LUFS
  std::optional<int> range, peak; ///< of bext, hundredths of a LU and of a dBTP
  bool bext_behind = false;       ///< bext after the samples
  bool odd_chunk = false;         ///< a chunk that nobody knows
  int valid_bits = 0;             ///< of an extensible WAV header; 0: all
};

/// About twelve seconds of stereo music put together from the loops of the Debian package sonic-pi-samples, at an
/// integrated loudness near −18 LUFS, peaks below −3 dBFS. Throws std::runtime_error when the package is missing.
[[nodiscard]] const Clip& music();

/// Writes the file into `folder` and returns its path. Throws when that is not possible.
[[nodiscard]] std::string write_sample(const std::string& folder, const std::string& name, const Clip& clip,
                                       const Wrapping& wrapping);

}  // namespace sendworthy::test
