#include "base/hash.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <new>

namespace sendworthy::base {

struct Hash128::State {
  XXH3_state_t* xxh = XXH3_createState();
  ~State() { XXH3_freeState(xxh); }
};

Hash128::Hash128() : state_(std::make_unique<State>()) {
  if (state_->xxh == nullptr) throw std::bad_alloc();
  XXH3_128bits_reset(state_->xxh);
}
Hash128::~Hash128() = default;

void Hash128::add(const void* bytes, std::size_t count) { XXH3_128bits_update(state_->xxh, bytes, count); }

std::string Hash128::hex() const {
  const auto hash = XXH3_128bits_digest(state_->xxh);
  return fmt::format("{:016x}{:016x}", hash.high64, hash.low64);
}

}  // namespace sendworthy::base
