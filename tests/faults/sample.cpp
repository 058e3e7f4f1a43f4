#include "faults/sample.h"

#include <stdlib.h>

#include <algorithm>
#include <cmath>
#include <system_error>
#include <filesystem>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>
#include <stdexcept>

#include <sndfile.h>

namespace sendworthy::test {
namespace {

std::vector<double> interleaved(const Clip& clip) {
  std::vector<double> out;
  out.reserve(clip.channels.size() * static_cast<std::size_t>(clip.frames()));
  for (std::int64_t n = 0; n < clip.frames(); ++n) {
    for (const auto& channel : clip.channels) out.push_back(channel[static_cast<std::size_t>(n)]);
  }
  return out;
}

void append(Clip& clip, const std::string& path) {
  SF_INFO info{};
  SNDFILE* file = sf_open(path.c_str(), SFM_READ, &info);
  if (file == nullptr) throw std::runtime_error("cannot read " + path + ": install the package sonic-pi-samples");
  std::vector<double> data(static_cast<std::size_t>(info.frames) * static_cast<std::size_t>(info.channels));
  const auto got = sf_readf_double(file, data.data(), info.frames);
  sf_close(file);
  for (sf_count_t n = 0; n < got; ++n) {
    for (std::size_t c = 0; c < 2; ++c) {
      const auto source = std::min<std::size_t>(c, static_cast<std::size_t>(info.channels - 1));
      clip.channels[c].push_back(data[static_cast<std::size_t>(n) * static_cast<std::size_t>(info.channels) + source]);
    }
  }
}

void little(std::string& out, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> (8 * i) & 0xFF);
}

void chunk(std::string& out, const char* id, const std::string& payload) {
  out += id;
  little(out, payload.size(), 4);
  out += payload;
  if (payload.size() % 2 != 0) out += '\0';
}

std::string id3_frame(const std::string& id, const std::string& body) {
  std::string frame = id;
  for (int shift : {24, 16, 8, 0}) frame += static_cast<char>(body.size() >> shift & 0xFF);
  return frame.append(2, '\0') + body;
}

std::string id3_tag(const Wrapping& wrapping) {
  std::string tag;
  for (const auto& [id, value] : wrapping.id3) {
    const std::string own = id.starts_with("TXXX:") ? id.substr(5) + std::string(1, '\0') : "";
    tag += id3_frame(id.substr(0, 4), std::string(1, '\0') + own + value);
  }
  if (wrapping.artwork) {
    std::string frame("\0image/png\0\3\0", 13);
    frame += wrapping.picture;
    tag += id3_frame("APIC", frame.append(2000, 'p'));
  }
  std::string out("ID3\3\0\0", 6);
  for (int shift : {21, 14, 7, 0}) out += static_cast<char>(tag.size() >> shift & 0x7F);
  return out + tag;
}

// EBU Tech 3285 v2.
std::string bext(const Wrapping& wrapping) {
  std::string out(338, '\0');
  little(out, wrapping.start_sample, 8);
  const bool second = wrapping.loudness || wrapping.range || wrapping.peak;
  const int unused = second ? 0x7FFF : 0;
  little(out, second ? 2 : 0, 2);
  out.append(64, '\0');
  for (const auto& field : {wrapping.loudness, wrapping.range, wrapping.peak}) little(out, static_cast<std::uint64_t>(field.value_or(unused)), 2);
  for (int i = 0; i < 2; ++i) little(out, static_cast<std::uint64_t>(unused), 2);
  out.append(180, '\0');
  return out + wrapping.history;
}

std::string info_list(const Wrapping& wrapping) {
  std::string out = "INFO";
  for (const auto& [id, value] : wrapping.info) chunk(out, id.c_str(), value + std::string(1, '\0'));
  return out;
}

// Our own plain writer, for everything a library would not write on purpose.
std::string wav(const Clip& clip, const Wrapping& wrapping) {
  std::string data;
  const int bytes = wrapping.bits / 8;
  const double scale = std::ldexp(1.0, wrapping.bits - 1);
  for (const double v : interleaved(clip)) {
    if (wrapping.real) {
      const auto x = static_cast<float>(v);
      data.append(reinterpret_cast<const char*>(&x), 4);
      continue;
    }
    const auto code = static_cast<std::int64_t>(std::clamp(std::nearbyint(v * scale), -scale, scale - 1));
    for (int i = 0; i < bytes; ++i) {
      const int from = wrapping.swap_bytes ? bytes - 1 - i : i;
      data += static_cast<char>(code >> (8 * from) & 0xFF);
    }
  }
  const auto channels = static_cast<unsigned>(clip.channels.size());
  const auto rate = static_cast<unsigned>(clip.rate);
  std::string format;
  little(format, wrapping.speakers != 0 ? 0xFFFE : wrapping.real ? 3 : 1, 2);
  little(format, channels, 2);
  little(format, rate, 4);
  little(format, rate * channels * static_cast<unsigned>(bytes), 4);
  little(format, channels * static_cast<unsigned>(bytes), 2);
  little(format, static_cast<unsigned>(wrapping.bits), 2);
  if (wrapping.speakers != 0) {
    little(format, 22, 2);
    little(format, static_cast<unsigned>(wrapping.valid_bits > 0 ? wrapping.valid_bits : wrapping.bits), 2);
    little(format, wrapping.speakers, 4);
    little(format, wrapping.real ? 3 : 1, 4);
    format += std::string("\0\0\x10\0\x80\0\0\xaa\0\x38\x9b\x71", 12);
  }
  std::string body = "WAVE";
  chunk(body, "fmt ", format);
  if (wrapping.bext && !wrapping.bext_behind) chunk(body, "bext", bext(wrapping));
  if (wrapping.odd_chunk) chunk(body, "xQz!", std::string(500, '\1'));
  if (!wrapping.ixml.empty()) chunk(body, "iXML", "<BWFXML>" + wrapping.ixml + "</BWFXML>");
  if (!wrapping.info.empty()) chunk(body, "LIST", info_list(wrapping));
  if (wrapping.artwork || !wrapping.id3.empty()) chunk(body, "id3 ", id3_tag(wrapping));
  if (wrapping.data_size_lies) {
    body += "data";
    little(body, data.size() / 2 / 12 * 12, 4);
    body += data;
  } else {
    chunk(body, "data", data);
  }
  if (wrapping.bext_behind) chunk(body, "bext", bext(wrapping));
  if (wrapping.loop) {
    std::string sampler(28, '\0');
    little(sampler, 1, 4);
    sampler.append(12, '\0');
    little(sampler, wrapping.loop->first, 4);
    little(sampler, wrapping.loop->second, 4);
    sampler.append(8, '\0');
    chunk(body, "smpl", sampler);
  }
  std::string out = "RIFF";
  little(out, body.size() + static_cast<std::size_t>(wrapping.outer_size_off), 4);
  out += body;
  out.append(static_cast<std::size_t>(wrapping.trailing_bytes), 'x');
  return out;
}

void store(const std::string& path, const std::string& bytes) {
  std::ofstream file(path, std::ios::binary);
  file.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  if (!file) throw std::runtime_error("cannot write " + path);
}

std::string load(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

void by_library(const std::string& path, const Clip& clip, int format) {
  SF_INFO info{};
  info.samplerate = clip.rate;
  info.channels = static_cast<int>(clip.channels.size());
  info.format = format;
  SNDFILE* file = sf_open(path.c_str(), SFM_WRITE, &info);
  if (file == nullptr) throw std::runtime_error("cannot write " + path + ": " + sf_strerror(nullptr));
  sf_command(file, SFC_SET_CLIPPING, nullptr, SF_TRUE);
  const auto data = interleaved(clip);
  // Small pieces: libsndfile 1.2.0 crashes on one long write of Vorbis.
  for (std::int64_t at = 0; at < clip.frames(); at += 1024)
    sf_writef_double(file, data.data() + at * info.channels, std::min<std::int64_t>(1024, clip.frames() - at));
  sf_close(file);
}

}  // namespace

Folder::Folder() : path((std::filesystem::temp_directory_path() / "sendworthy-test-XXXXXX").string()) {
  if (mkdtemp(path.data()) == nullptr) throw std::runtime_error("no temporary folder");
}

Folder::~Folder() {
  std::error_code ignored;
  std::filesystem::remove_all(path, ignored);
}

Clip& Clip::gain_db(double db) {
  const double factor = std::pow(10.0, db / 20);
  return each([factor](double v) { return v * factor; });
}
Clip& Clip::each(const std::function<double(double)>& f) {
  for (auto& channel : channels) {
    for (auto& v : channel) v = f(v);
  }
  return *this;
}

const Clip& music() {
  static const Clip instance = [] {
    Clip clip;
    clip.channels.resize(2);
    const std::string folder = "/usr/share/sonic-pi/samples/";
    append(clip, folder + "loop_mika.flac");
    append(clip, folder + "loop_electric.flac");
    append(clip, folder + "loop_mehackit2.flac");
    double peak = 0;
    clip.each([&](double v) {
      peak = std::max(peak, std::abs(v));
      return v;
    });
    // The samples are 16-bit: a factor that is no power of two fills the lower bits of 24.
    return clip.each([peak](double v) { return v * 0.41 / peak; });
  }();
  return instance;
}

std::string write_sample(const std::string& folder, const std::string& usual_name, const Clip& clip, const Wrapping& wrapping) {
  const auto& name = wrapping.name.empty() ? usual_name : wrapping.name;
  static const std::map<std::string, const char*> kEndings{
      {"WAV", "wav"}, {"RIFX", "wav"}, {"RF64", "wav"}, {"BW64", "wav"},        {"W64", "w64"},  {"AIFF", "aiff"},
      {"AIFF-C", "aifc"}, {"CAF", "caf"}, {"FLAC", "flac"}, {"Ogg Vorbis", "ogg"}, {"Opus", "opus"}, {"MP3", "mp3"}};
  const std::string& container = wrapping.container;
  const std::string path =
      folder + "/" + name + "." + (wrapping.extension.empty() ? kEndings.at(container) : wrapping.extension);
  const int pcm = wrapping.real ? SF_FORMAT_FLOAT : wrapping.bits == 16 ? SF_FORMAT_PCM_16 : SF_FORMAT_PCM_24;
  if (wrapping.sister) {
    auto other = wrapping;
    other.sister = false;
    other.name = name;
    other.name.back() = 'R';
    static_cast<void>(write_sample(folder, "", clip, other));
  }
  if (container == "WAV" && wrapping.codec == "ulaw") {
    by_library(path, clip, SF_FORMAT_WAV | SF_FORMAT_ULAW);
  } else if (container == "WAV") {
    store(path, wav(clip, wrapping));
  } else if (container == "RIFX") {
    by_library(path, clip, SF_FORMAT_WAV | SF_ENDIAN_BIG | pcm);
  } else if (container == "RF64") {
    by_library(path, clip, SF_FORMAT_RF64 | pcm);
  } else if (container == "BW64") {
    // The same layout under another name (ITU-R BS.2088).
    by_library(path, clip, SF_FORMAT_RF64 | pcm);
    auto bytes = load(path);
    bytes.replace(0, 4, "BW64");
    store(path, bytes);
  } else if (container == "W64") {
    by_library(path, clip, SF_FORMAT_W64 | pcm);
  } else if (container == "AIFF") {
    by_library(path, clip, SF_FORMAT_AIFF | pcm);
  } else if (container == "AIFF-C") {
    by_library(path, clip, SF_FORMAT_AIFF | SF_ENDIAN_LITTLE | SF_FORMAT_PCM_16);
  } else if (container == "CAF") {
    by_library(path, clip, SF_FORMAT_CAF | pcm);
  } else if (container == "FLAC") {
    by_library(path, clip, SF_FORMAT_FLAC | pcm);
  } else if (container == "Ogg Vorbis") {
    by_library(path, clip, SF_FORMAT_OGG | SF_FORMAT_VORBIS);
  } else if (container == "Opus") {
    by_library(path, clip, SF_FORMAT_OGG | SF_FORMAT_OPUS);
  } else if (container == "MP3") {
    const std::string source = folder + "/" + name + "-source.wav";
    store(source, wav(clip, {}));
    const std::string rate = wrapping.variable_bit_rate ? "-q:a 4" : "-b:a " + std::to_string(wrapping.bit_rate_kbit_s) + "k";
    if (std::system(("ffmpeg -nostdin -v error -y -i '" + source + "' -metadata title='" + wrapping.title + "' " + rate + " '" + path + "'").c_str()) != 0)
      throw std::runtime_error("ffmpeg could not write " + path);
    std::remove(source.c_str());
    if (wrapping.pad_file_to > 0) {
      auto bytes = load(path);
      if (bytes.compare(0, 3, "ID3") == 0) {
        std::size_t size = 0;
        for (std::size_t i = 6; i < 10; ++i) size = size << 7 | (static_cast<unsigned char>(bytes[i]) & 0x7F);
        bytes.erase(0, size + 10);
      }
      const auto padding = static_cast<std::size_t>(wrapping.pad_file_to) - bytes.size() - 10;
      std::string head("ID3\3\0\0", 6);
      for (int shift : {21, 14, 7, 0}) head += static_cast<char>(padding >> shift & 0x7F);
      store(path, head + std::string(padding, '\0') + bytes);
    }
  } else {
    throw std::runtime_error("no writer for " + container);
  }
  if (wrapping.no_md5) {
    auto bytes = load(path);
    std::fill(bytes.begin() + 26, bytes.begin() + 42, '\0');  // RFC 9639: behind the marker, the block's head and 18 bytes
    store(path, bytes);
  }
  if (wrapping.corrupt) {
    auto bytes = load(path);
    for (std::size_t i = bytes.size() / 2; i < bytes.size() / 2 + 40 && i < bytes.size(); ++i)
      bytes[i] = static_cast<char>(bytes[i] ^ 0x55);
    store(path, bytes);
  }
  return path;
}

}  // namespace sendworthy::test
