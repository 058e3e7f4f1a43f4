#include "song/parts.h"

#include <algorithm>

namespace sendworthy::song {
namespace {

constexpr double kKeptS = 3;

}  // namespace

Result<Parts> Parts::open(const std::string& mix, const std::vector<std::string>& stems) {
  Parts parts;
  auto first = pair::Reader::open(mix);
  if (!first) return tl::unexpected(first.error());
  parts.rate_ = first->format().sample_rate;
  parts.channels_ = std::min(2, first->channels());
  if (first->channels() > 2) first = pair::Reader::open(mix, 1, 2);
  if (!first) return tl::unexpected(first.error());
  parts.readers_.push_back(std::move(*first));
  for (const auto& path : stems) {
    auto stem = pair::Reader::open(path);
    if (!stem) return tl::unexpected(stem.error());
    const double step = stem->format().sample_rate / parts.rate_;
    const int folded = stem->channels() > parts.channels_ ? parts.channels_ : 0;
    if (step != 1 || folded != 0) stem = pair::Reader::open(path, step, folded);
    if (!stem) return tl::unexpected(stem.error());
    parts.readers_.push_back(std::move(*stem));
  }
  // Read in order, a second at a time, each twice: nothing else is looked back at.
  for (auto& reader : parts.readers_) reader.keep(static_cast<std::int64_t>(kKeptS * parts.rate_) * reader.channels());
  parts.rows_.resize(parts.readers_.size());
  return parts;
}

std::int64_t Parts::reach(std::int64_t from, std::int64_t frames) {
  (void)readers_.front().see(from, frames);
  return std::clamp<std::int64_t>(readers_.front().known_end() - from, 0, frames);
}

ChannelRows Parts::see(std::size_t part, std::int64_t from, std::int64_t frames) {
  const auto seen = readers_[part].see(from, frames);
  auto& rows = rows_[part];
  rows.assign(seen.begin(), seen.end());
  while (static_cast<int>(rows.size()) < channels_) rows.push_back(rows.front());
  return rows;
}

const Error* Parts::error() const {
  const auto failed = std::ranges::find_if(readers_, [](const pair::Reader& one) { return one.error().has_value(); });
  return failed == readers_.end() ? nullptr : &*failed->error();
}

}  // namespace sendworthy::song
