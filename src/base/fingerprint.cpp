#include "base/fingerprint.h"

#include <fmt/format.h>
#include <xxhash.h>

#include <cstdint>
#include <memory>
#include <vector>

#include "base/os.h"

namespace sendworthy::base {

Result<std::string> fingerprint_of(const std::string& path, const std::atomic<bool>* stop) {
  auto file = InputFile::open(path);
  if (!file) return tl::unexpected(file.error());
  const std::unique_ptr<XXH3_state_t, XXH_errorcode (*)(XXH3_state_t*)> state(XXH3_createState(), &XXH3_freeState);
  if (!state || XXH3_128bits_reset(state.get()) != XXH_OK)
    return fail(ErrorCode::unreadable, fmt::format("cannot read \"{}\": not enough memory", path));
  std::vector<std::uint8_t> block(256 << 10);
  for (std::int64_t at = 0;;) {
    if (stop != nullptr && stop->load(std::memory_order_relaxed)) return fail(ErrorCode::interrupted, "interrupted");
    const auto got = file->read_at(at, block.data(), static_cast<std::int64_t>(block.size()));
    if (!file->error().empty())
      return fail(ErrorCode::unreadable, fmt::format("cannot read \"{}\": reading failed: {}", path, file->error()));
    if (got == 0) break;
    XXH3_128bits_update(state.get(), block.data(), static_cast<std::size_t>(got));
    at += got;
  }
  const auto digest = XXH3_128bits_digest(state.get());
  return fmt::format("{:016x}{:016x}", digest.high64, digest.low64);
}

}  // namespace sendworthy::base
