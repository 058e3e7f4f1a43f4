// Opening and decoding any bytes to their end, as the pass does it.
#include <cstdint>
#include <cstdlib>
#include <string_view>
#include <vector>

#include "audio/file.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* input, std::size_t size) {
  using namespace sendworthy::audio;
  auto opened = open_bytes(std::string_view(reinterpret_cast<const char*>(input), size), "mix.wav");
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
