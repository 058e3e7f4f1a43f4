#include "measure/digest.h"

#include <array>
#include <bit>
#include <cstring>

#include <xxhash.h>

namespace sendworthy::measure {

static_assert(std::endian::native == std::endian::little, "digests are defined over little-endian samples");

struct DigestMeter::State {
  XXH3_state_t* xxh = XXH3_createState();
  ~State() { XXH3_freeState(xxh); }
};

DigestMeter::DigestMeter(const audio::StreamFormat& format) : format_(format), state_(std::make_unique<State>()) {
  XXH3_128bits_reset(state_->xxh);
}
DigestMeter::~DigestMeter() = default;

void DigestMeter::process(const Block& block) {
  const auto samples = static_cast<std::size_t>(block.frames) * static_cast<std::size_t>(block.channels);
  if (block.codes != nullptr) {
    XXH3_128bits_update(state_->xxh, block.codes, samples * sizeof(std::int32_t));
    return;
  }
  scratch_.resize(samples);
  for (std::size_t i = 0; i < samples; ++i) scratch_[i] = block.reals[i] + 0.0;  // −0 + 0 = +0
  XXH3_128bits_update(state_->xxh, scratch_.data(), samples * sizeof(double));
}

std::string DigestMeter::text(std::int64_t frames) const {
  // The number of frames is known last, so the samples are hashed first and their hash is hashed with the facts.
  const XXH128_hash_t samples = XXH3_128bits_digest(state_->xxh);
  std::array<std::uint64_t, 6> facts{
      format_.kind == audio::SampleKind::integer ? 1u : 2u, static_cast<std::uint64_t>(format_.sample_rate),
      static_cast<std::uint64_t>(format_.channels),         static_cast<std::uint64_t>(frames),
      samples.high64,                                       samples.low64};
  const XXH128_hash_t whole = XXH3_128bits(facts.data(), sizeof facts);
  XXH128_canonical_t bytes;
  XXH128_canonicalFromHash(&bytes, whole);
  static constexpr char kHex[] = "0123456789abcdef";
  std::string text = "xxh128:";
  for (const unsigned char byte : bytes.digest) {
    text += kHex[byte >> 4];
    text += kHex[byte & 15];
  }
  return text;
}

}  // namespace sendworthy::measure
