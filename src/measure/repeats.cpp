#include "measure/repeats.h"

#include <bit>
#include <cmath>

namespace sendworthy::measure {
namespace {

constexpr std::int64_t kShortest = 64, kLongest = 4096;
constexpr int kMostCopies = 3;      // beyond, it is a tone
constexpr std::int64_t kSlack = 8;  // samples at the ends that are equal by chance
constexpr float kLowestAnchor = 0.002f;
constexpr double kLowestPower = 1e-6;  // −60 dBFS
constexpr double kOtherBefore = 0.02;  // of the power: how far the neighbours of a copy must differ from it
constexpr double kNoteDecay = 30;      // in power, from the first eighth to the last
constexpr std::size_t kMostWaiting = 16;

bool equal(const Window& window, std::int64_t frame, std::int64_t distance) {
  for (int c = 0; c < window.channels(); ++c) {
    if (window.at(c, frame) != window.at(c, frame - distance)) return false;
  }
  return true;
}

// Lengths that drivers and hosts use: 64 · 2^k, 96 · 2^k, and 10 ms at 44.1 and 48 kHz with their doubles.
bool is_buffer(std::int64_t length) {
  for (const std::int64_t base : {64, 96, 441, 480}) {
    for (auto size = base; size <= kLongest; size *= 2) {
      if (size == length) return true;
    }
  }
  return false;
}

// How far the stretch differs from what lies `distance` before it, over its own power; all channels together.
double difference(const Window& window, std::int64_t start, std::int64_t end, std::int64_t distance) {
  double apart = 0, power = 0;
  for (int c = 0; c < window.channels(); ++c) {
    for (auto n = std::max(start, window.first() + distance); n < end; ++n) {
      const double here = static_cast<double>(window.at(c, n)), there = static_cast<double>(window.at(c, n - distance));
      apart += (here - there) * (here - there);
      power += 0.5 * (here * here + there * there);
    }
  }
  return power > 0 ? apart / power : 0;
}

}  // namespace

// Places are recognised by the shape of their crests: a few samples round each, hashed. What came by less than kLongest
// ago is looked at closely.
void RepeatFinder::settled(const Window& window, std::int64_t from, std::int64_t to) {
  std::erase_if(waiting_, [&](const Candidate& one) {
    if (window.last() < one.frame + (kMostCopies + 1) * one.distance + kSlack) return false;
    verify(window, one);
    return true;
  });
  int loudest = 0;
  double most = -1;
  for (int c = 0; c < window.channels(); ++c) {
    const double power = window.mean_square(c, from, std::min(to, from + 1024));
    if (power > most) most = power, loudest = c;
  }
  from = std::max<std::int64_t>(std::min(from, read_to_), 1);
  to = std::min(to, window.last() - 3);
  if (to <= from) return;
  const float* x = window.from(loudest, from);
  // Samples are chosen by their own value, so that both copies choose the same. Whole words only: the few frames left
  // over at the end of a stretch are read again at the start of the next.
  const int words = static_cast<int>((to - from) / 64);
  chosen_.resize(static_cast<std::size_t>(words));
  if (words > 0) dsp::one_in_sixteen(x, words, kLowestAnchor, chosen_.data());
  for (int w = 0; w < words; ++w) {
    for (auto bits = chosen_[static_cast<std::size_t>(w)]; bits != 0; bits &= bits - 1)
      meet(from + 64 * static_cast<std::int64_t>(w) + std::countr_zero(bits), x + 64 * w + std::countr_zero(bits));
  }
  read_to_ = from + 64 * static_cast<std::int64_t>(words);
}

// `x` points at the frame; two more samples follow it.
void RepeatFinder::meet(std::int64_t frame, const float* x) {
  std::uint32_t hash =
      (std::bit_cast<std::uint32_t>(x[0]) * dsp::kSampleHash ^ std::bit_cast<std::uint32_t>(x[-1])) * 2246822519u;
  hash = (hash ^ std::bit_cast<std::uint32_t>(x[1])) * 3266489917u;
  hash = (hash ^ std::bit_cast<std::uint32_t>(x[2])) * 668265263u;
  hash ^= hash >> 15;
  auto& slot = seen_[hash % kSlots];
  const auto distance = frame - slot.frame;
  if (slot.hash == hash && slot.frame >= 0 && distance >= kShortest && distance <= kLongest && frame >= done_to_ &&
      waiting_.size() < kMostWaiting) {
    const bool known = std::any_of(waiting_.begin(), waiting_.end(), [&](const Candidate& one) {
      return one.distance == distance && frame - one.frame < (kMostCopies + 1) * distance;
    });
    if (!known) waiting_.push_back({frame, distance});
  }
  slot = {hash, frame};
}

void RepeatFinder::verify(const Window& window, const Candidate& candidate) {
  const auto [frame, distance] = candidate;
  if (frame < done_to_) return;
  const std::int64_t limit = (kMostCopies + 1) * distance;
  auto start = frame, end = frame;
  while (start > window.first() + distance && frame - start < limit && equal(window, start - 1, distance)) --start;
  while (end < window.last() && end - frame < limit && equal(window, end, distance)) ++end;
  const auto length = end - start;
  if (length < distance) return;
  const auto copies = length / distance;
  if (copies > kMostCopies || length - copies * distance > kSlack) {
    done_to_ = end;  // a tone, or something that goes on repeating
    return;
  }
  for (int c = 0; c < window.channels(); ++c) {
    if (window.mean_square(c, start, end) < kLowestPower) continue;
    // The neighbours of a copy are other music. Where they nearly equal it too, the wave is a tone of that period.
    if (difference(window, start - distance, start, distance) < kOtherBefore ||
        difference(window, end, end + distance, distance) < kOtherBefore)
      return;
    // A drum machine's roll repeats to the bit as well, at the distance of its notes: each begins loud and dies away.
    const double head = window.mean_square(c, start, start + distance / 8),
                 tail = window.mean_square(c, end - distance / 8, end);
    if (!is_buffer(distance) && head > kNoteDecay * tail) return;
    done_to_ = end;
    ++total_;
    if (found_.size() < kMaxWhere) found_.push_back({start, end, distance});
    return;
  }
}

std::vector<RepeatFinder::Repeat> RepeatFinder::finish(const Window& window) {
  for (const auto& one : waiting_) verify(window, one);
  waiting_.clear();
  return found_;
}

}  // namespace sendworthy::measure
