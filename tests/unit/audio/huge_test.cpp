#include <stdlib.h>
#include <unistd.h>

#include <cstdint>
#include <filesystem>
#include <fstream>
#include <string>

#include <doctest/doctest.h>

#include "audio/file.h"

using namespace sendworthy;

namespace {

void little(std::string& out, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(value >> (8 * i) & 0xFF);
}

// A 24-bit stereo WAV whose sound takes `bytes`; the sizes are what 32 bits can hold of the truth. The sound itself is a
// hole in the file, which costs no disk.
std::string header(std::uint64_t bytes) {
  std::string out = "RIFF";
  little(out, (bytes + 36) & 0xFFFFFFFF, 4);
  out += "WAVEfmt ";
  little(out, 16, 4), little(out, 1, 2), little(out, 2, 2), little(out, 48000, 4), little(out, 288000, 4), little(out, 6, 2);
  little(out, 24, 2);
  out += "data";
  little(out, bytes & 0xFFFFFFFF, 4);
  return out;
}

}  // namespace

TEST_SUITE("audio/huge") {
  TEST_CASE("C06: more than 4 GiB behind a 32-bit header is a contradiction, just under is none") {
    std::string path = (std::filesystem::temp_directory_path() / "sendworthy-huge-XXXXXX").string();
    const int descriptor = mkstemp(path.data());
    REQUIRE(descriptor >= 0);
    close(descriptor);
    const std::uint64_t over = (std::uint64_t{1} << 32) + 6000000, under = 4294967100;  // both whole frames
    for (const auto& [bytes, contradictions] : {std::pair{under - under % 6, false}, {over - over % 6, true}}) {
      const auto& bytes_here = bytes;
      CAPTURE(bytes_here);
      std::ofstream(path, std::ios::binary | std::ios::trunc) << header(bytes);
      REQUIRE(truncate(path.c_str(), static_cast<off_t>(44 + bytes)) == 0);
      const auto file = audio::open_file(path);
      REQUIRE(file.has_value());
      CHECK(file->facts.contradictions.empty() != contradictions);
    }
    std::filesystem::remove(path);
  }
}
