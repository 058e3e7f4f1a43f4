// Sets of parts whose sum is known by arithmetic, made of packaged sounds.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "faults/sample.h"
#include "pair/sum.h"

namespace sendworthy::test {

inline constexpr int kRate = 44100;
// Memory is looked at by one set as well as by two, and takes ten times as long then.
#if defined(SENDWORTHY_SANITIZED)
inline constexpr unsigned kSeeds = 1;
#else
inline constexpr unsigned kSeeds = 2;
#endif

/// A part: one sound again and again with rests between, each time at another pitch-like speed of whole steps, panned by amplitude.
Clip part(std::size_t which, double seconds, double pan, std::uint64_t seed = 0);
std::vector<Clip> ensemble(std::size_t count, double seconds = 12, std::uint64_t seed = 0);
Clip added(const std::vector<Clip>& parts);

/// Silence before and behind, so that a part that is moved loses nothing.
std::vector<Clip> padded(std::vector<Clip> parts, std::size_t frames);
Clip later(Clip clip, std::int64_t frames);
Clip times(Clip clip, double factor);
pair::Sum sum_of(const Clip& mix, const std::vector<Clip>& parts, const Wrapping& wrapping = {}, const Wrapping& mix_wrapping = {});

/// One part moved by so many frames is told to be the late one, and no other.
void check_late(const Clip& mix, std::vector<Clip> parts, std::size_t which, std::int64_t frames);

}  // namespace sendworthy::test
