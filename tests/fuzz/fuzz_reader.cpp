// Opening and decoding any bytes to their end, as the pass does it.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <vector>

#include "audio/file.h"

// libsndfile 1.2.0 does not free the Vorbis state of a file whose headers it refuses. Not ours to mend.
extern "C" const char* __lsan_default_suppressions() { return "leak:libvorbis\nleak:libsndfile\n"; }

namespace {

// A fuzzer does not find checksums. With those of Ogg pages put right, it reaches the decoders behind them.
std::string with_ogg_checksums(std::string bytes) {
  for (auto at = bytes.find("OggS"); at != std::string::npos; at = bytes.find("OggS", at + 4)) {
    if (bytes.size() - at < 27) break;
    const auto segments = static_cast<std::uint8_t>(bytes[at + 26]);
    std::size_t length = 27 + segments;
    for (std::size_t i = 0; i < segments && at + 27 + i < bytes.size(); ++i)
      length += static_cast<std::uint8_t>(bytes[at + 27 + i]);
    if (length > bytes.size() - at) break;
    for (std::size_t i = 0; i < 4; ++i) bytes[at + 22 + i] = 0;
    std::uint32_t crc = 0;
    for (std::size_t i = 0; i < length; ++i) {
      crc ^= static_cast<std::uint32_t>(static_cast<std::uint8_t>(bytes[at + i])) << 24;
      for (int bit = 0; bit < 8; ++bit) crc = crc << 1 ^ ((crc & 0x80000000u) != 0 ? 0x04c11db7u : 0);
    }
    for (std::size_t i = 0; i < 4; ++i) bytes[at + 22 + i] = static_cast<char>(crc >> (8 * i));
  }
  return bytes;
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* input, std::size_t size) {
  using namespace sendworthy::audio;
  const auto bytes = with_ogg_checksums(std::string(reinterpret_cast<const char*>(input), size));
  auto opened = open_bytes(bytes, "mix.wav");
  if (!opened) return 0;
  auto& source = *opened->source;
  const auto channels = source.format().channels;
  const bool integer = source.format().kind == SampleKind::integer;
  constexpr std::int64_t kBlock = 500;
  std::vector<std::int32_t> codes(static_cast<std::size_t>(integer ? kBlock * channels : 0));
  std::vector<double> reals(static_cast<std::size_t>(integer ? 0 : kBlock * channels));
  // Silence packs well: a small input may hold hours, which is no fault.
  for (std::int64_t samples = 0; samples < (std::int64_t{1} << 22);) {
    const auto got = integer ? source.read_codes(codes.data(), kBlock) : source.read_reals(reals.data(), kBlock);
    if (got < 0 || got > kBlock) std::abort();
    if (got == 0) {
      // The end stays the end, and asking again adds no damage.
      const auto damage = source.damage().size();
      const auto again = integer ? source.read_codes(codes.data(), kBlock) : source.read_reals(reals.data(), kBlock);
      if (again != 0 || source.damage().size() != damage) std::abort();
      break;
    }
    samples += got * channels;
  }
  return 0;
}
