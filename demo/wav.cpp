#include "wav.h"

#include <sndfile.h>

#include <algorithm>
#include <fstream>
#include <stdexcept>
#include <string_view>

#include "score.h"

namespace demo {
namespace {

class Bytes {
 public:
  void text(std::string_view s) { data_.append(s); }
  void fixed(std::string_view s, std::size_t size) {
    data_.append(s.substr(0, size));
    data_.append(size - std::min(size, s.size()), '\0');
  }
  void number(std::uint64_t value, int size) {
    for (int i = 0; i < size; ++i) data_.push_back(static_cast<char>(value >> (8 * i) & 0xFF));
  }
  void chunk(std::string_view id, const Bytes& body) {
    text(id);
    number(body.data_.size(), 4);
    text(body.data_);
    if (body.data_.size() % 2 != 0) number(0, 1);
  }
  [[nodiscard]] const std::string& data() const { return data_; }

 private:
  std::string data_;
};

/// Broadcast extension, version 1: the fields of version 2 for loudness are left to those who measure it.
Bytes bext(const std::string& description) {
  Bytes body;
  body.fixed(description, 256);
  body.fixed(kStudio, 32);
  body.fixed("BRINDLEWICK-0417-04", 32);
  body.fixed("2026-03-14", 10);
  body.fixed("16:20:00", 8);
  body.number(0, 8);   // time reference: samples since midnight
  body.number(1, 2);   // version
  body.fixed("", 64);  // UMID
  body.fixed("", 190);
  body.text("A=PCM,F=48000,W=24,M=stereo,T=synthesised\r\n");
  return body;
}

Bytes info() {
  Bytes body;
  body.text("INFO");
  for (const auto& [id, value] : {std::pair{"INAM", kTitle}, {"IART", kArtist}, {"IPRD", kLabel}}) {
    Bytes text;
    text.fixed(value, value.size() + 1);
    body.chunk(id, text);
  }
  return body;
}

}  // namespace

void write_wav(const std::string& path, const Audio& audio, const WavFormat& format) {
  const auto width = static_cast<std::size_t>(format.bits / 8);
  const auto frame_bytes = width * static_cast<std::size_t>(audio.channels);
  const auto rate = static_cast<std::uint64_t>(format.sample_rate);
  const std::size_t data_bytes = audio.codes.size() * width;

  Bytes fmt;
  fmt.number(1, 2);  // PCM
  fmt.number(static_cast<std::uint64_t>(audio.channels), 2);
  fmt.number(rate, 4);
  fmt.number(rate * frame_bytes, 4);
  fmt.number(frame_bytes, 2);
  fmt.number(static_cast<std::uint64_t>(format.bits), 2);

  Bytes chunks;
  chunks.text("WAVE");
  chunks.chunk("fmt ", fmt);
  if (!format.description.empty()) {
    chunks.chunk("bext", bext(format.description));
    chunks.chunk("LIST", info());
  }
  chunks.text("data");
  const std::size_t claimed = format.claimed_data_bytes.value_or(static_cast<std::uint32_t>(data_bytes));
  chunks.number(claimed, 4);

  Bytes head;
  head.text("RIFF");
  head.number(chunks.data().size() + claimed + claimed % 2, 4);
  std::string out = head.data() + chunks.data();
  std::size_t at = out.size();
  out.resize(at + data_bytes);
  const int shift = width == 2 ? 8 : 0;
  for (const std::int32_t code : audio.codes) {
    for (std::size_t byte = 0; byte < width; ++byte)
      out[at++] = static_cast<char>(code >> (shift + 8 * static_cast<int>(byte)));
  }
  if (data_bytes % 2 != 0) out.push_back('\0');
  if (format.bytes_kept) out.resize(std::min(out.size(), *format.bytes_kept));

  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file.write(out.data(), static_cast<std::streamsize>(out.size()));
  file.close();
  if (!file) throw std::runtime_error("cannot write " + path);
}

void write_flac(const std::string& path, const Audio& audio, int sample_rate) {
  SF_INFO format{};
  format.samplerate = sample_rate;
  format.channels = audio.channels;
  format.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_24;
  SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &format);
  if (file == nullptr) throw std::runtime_error("cannot write " + path + ": " + sf_strerror(nullptr));
  double fast = 0.0;
  sf_command(file, SFC_SET_COMPRESSION_LEVEL, &fast, sizeof fast);
  std::vector<std::int32_t> justified(audio.codes.size());
  std::transform(audio.codes.begin(), audio.codes.end(), justified.begin(),
                 [](std::int32_t code) { return code * 256; });
  const auto frames = static_cast<sf_count_t>(audio.frames());
  const bool complete = sf_writef_int(file, justified.data(), frames) == frames;
  if (sf_close(file) != 0 || !complete) throw std::runtime_error("cannot write " + path);
}

}  // namespace demo
