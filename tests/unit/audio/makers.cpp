#include "makers.h"

#include <doctest/doctest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <list>
#include <cstdlib>
#include <fstream>
#include <sstream>

// libsndfile 1.2.0 does not free the Vorbis state of a file whose headers it refuses. Not ours to mend.
extern "C" const char* __lsan_default_suppressions() { return "leak:libvorbis\nleak:libsndfile\n"; }

namespace makers {

Maker& Maker::le(std::uint64_t value, int width) {
  for (int i = 0; i < width; ++i) bytes += static_cast<char>(value >> (8 * i) & 0xff);
  return *this;
}

Maker& Maker::be(std::uint64_t value, int width) {
  for (int i = width - 1; i >= 0; --i) bytes += static_cast<char>(value >> (8 * i) & 0xff);
  return *this;
}

std::string chunk(std::string_view id, std::string_view body, bool big_endian) {
  Maker m;
  m.text(id);
  big_endian ? m.be(body.size(), 4) : m.le(body.size(), 4);
  m.text(body);
  if (body.size() % 2 != 0) m.fill(1);
  return m.bytes;
}

std::string format_body(const Wave& w, bool big_endian) {
  Maker m;
  const auto put = [&](std::uint64_t value, int width) { big_endian ? m.be(value, width) : m.le(value, width); };
  const int align = w.block_align.value_or(w.channels * ((w.bits + 7) / 8));
  put(static_cast<std::uint64_t>(w.extensible ? 0xfffe : w.tag), 2);
  put(static_cast<std::uint64_t>(w.channels), 2);
  put(static_cast<std::uint64_t>(w.rate), 4);
  put(w.byte_rate.value_or(static_cast<std::uint32_t>(w.rate) * static_cast<std::uint32_t>(align)), 4);
  put(static_cast<std::uint64_t>(align), 2);
  put(static_cast<std::uint64_t>(w.bits), 2);
  if (w.extensible) {
    put(22, 2);
    put(static_cast<std::uint64_t>(w.valid_bits == 0 ? w.bits : w.valid_bits), 2);
    put(w.mask, 4);
    put(static_cast<std::uint64_t>(w.tag), 4);
    put(0, 2);
    put(16, 2);
    m.text(std::string_view("\x80\x00\x00\xaa\x00\x38\x9b\x71", 8));
  }
  return m.bytes;
}

std::string riff(std::string_view chunks, std::string_view form, std::optional<std::uint32_t> size) {
  Maker m;
  m.text(form);
  const auto said = size.value_or(static_cast<std::uint32_t>(chunks.size() + 4));
  form == "RIFX" ? m.be(said, 4) : m.le(said, 4);
  return m.text("WAVE").text(chunks).bytes;
}

std::string wav(const Wave& wave, std::string_view samples) {
  return riff(chunk("fmt ", format_body(wave)) + chunk("data", samples));
}

std::string wide(std::string_view form, const Wave& wave, std::string_view samples) {
  const auto format = chunk("fmt ", format_body(wave));
  const auto pad = samples.size() % 2;
  Maker ds64;
  ds64.le(4 + 36 + format.size() + 8 + samples.size() + pad, 8).le(samples.size(), 8);
  ds64.le(samples.size() / static_cast<std::size_t>(wave.channels * ((wave.bits + 7) / 8)), 8).le(0, 4);
  Maker data;
  data.text("data").le(0xffffffff, 4).text(samples).fill(pad);
  return riff(chunk("ds64", ds64.bytes) + format + data.bytes, form, 0xffffffff);
}

std::string tone(std::int64_t frames, int channels, int bytes) {
  Maker m;
  for (std::int64_t i = 0; i < frames; ++i) {
    for (int c = 0; c < channels; ++c) {
      const double t = static_cast<double>(i) / 48'000.0;
      const double x = 0.3 * std::sin(2 * M_PI * (220 + 110 * c) * t) + 0.1 * std::sin(2 * M_PI * 1301 * t + c);
      m.le(static_cast<std::uint64_t>(std::llround(x * std::ldexp(1.0, 8 * bytes - 1))), bytes);
    }
  }
  return m.bytes;
}

const std::string& kept(std::string bytes) {
  static std::list<std::string> all;
  all.push_back(std::move(bytes));
  if (all.size() > 300) all.pop_front();
  return all.back();
}

Decoded decode(sendworthy::audio::Source& source, std::int64_t block) {
  Decoded out;
  const auto channels = source.format().channels;
  const bool integer = source.format().kind == sendworthy::audio::SampleKind::integer;
  std::vector<std::int32_t> codes(static_cast<std::size_t>(integer ? block * channels : 0));
  std::vector<double> reals(static_cast<std::size_t>(integer ? 0 : block * channels));
  for (;;) {
    const auto got = integer ? source.read_codes(codes.data(), block) : source.read_reals(reals.data(), block);
    if (got == 0) return out;
    REQUIRE(got <= block);
    if (integer)
      out.codes.insert(out.codes.end(), codes.begin(), codes.begin() + got * channels);
    else
      out.reals.insert(out.reals.end(), reals.begin(), reals.begin() + got * channels);
    out.frames += got;
  }
}

bool mentions(const std::vector<sendworthy::audio::Damage>& list, std::string_view text) {
  for (const auto& damage : list) {
    if (damage.text.find(text) != std::string::npos) return true;
  }
  return false;
}

std::string joined(const std::vector<sendworthy::audio::Damage>& list) {
  std::string all;
  for (const auto& damage : list)
    all.append("@").append(std::to_string(damage.byte_offset)).append(" ").append(damage.text).append("; ");
  return all;
}

Folder::Folder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "sendworthy-test-XXXXXX").string();
  REQUIRE(::mkdtemp(pattern.data()) != nullptr);
  path_ = pattern;
}

Folder::~Folder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string Folder::write(const std::string& name, std::string_view bytes) const {
  const auto path = file(name);
  std::ofstream out(path, std::ios::binary);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  REQUIRE(out.good());
  return path;
}

std::string contents(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::ostringstream out;
  out << in.rdbuf();
  return out.str();
}

bool have(const std::string& program) {
  if (run("command -v " + program)) return true;
  MESSAGE("NOT TESTED against " << program << ": it is not installed on this machine");
  return false;
}

bool run(const std::string& command) {
  const int status = std::system(("( " + command + " ) >/dev/null 2>&1 </dev/null").c_str());
  return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

}  // namespace makers
