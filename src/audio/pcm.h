// Plain PCM and float, from bytes to samples. No I/O; every sample is exact.
#pragma once

#include <cstdint>

#include "audio/walk.h"

namespace sendworthy::audio {

/// `count` samples of plain PCM or float at `from`, as `data` describes them, to left-justified codes (integers only).
/// One byte before `from` must be readable.
void plain_to_codes(const std::uint8_t* from, std::int64_t count, const SampleData& data, std::int32_t* to);

/// The same to reals: floats as they stand; integers divided by their full scale (for looking, not for measuring).
void plain_to_reals(const std::uint8_t* from, std::int64_t count, const SampleData& data, double* to);

/// A stream over the samples a walk has found. Takes the bytes over.
[[nodiscard]] std::unique_ptr<Source> open_plain(std::unique_ptr<Bytes> bytes, Walked walked);

}  // namespace sendworthy::audio
