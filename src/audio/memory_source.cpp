#include "audio/memory_source.h"

#include <algorithm>
#include <utility>

namespace sendworthy::audio {

StreamFormat plain_format(int sample_rate, int channels, SampleKind kind, int container_bits) {
  StreamFormat format;
  format.sample_rate = sample_rate;
  format.channels = channels;
  format.kind = kind;
  format.container_bits = container_bits;
  using enum Speaker;
  switch (channels) {
    case 1: format.speakers = {centre}; format.layout = "mono"; break;
    case 2: format.speakers = {left, right}; format.layout = "stereo"; break;
    case 5: format.speakers = {left, right, centre, left_surround, right_surround}; format.layout = "5.0"; break;
    case 6: format.speakers = {left, right, centre, lfe, left_surround, right_surround}; format.layout = "5.1"; break;
    case 8:
      format.speakers = {left, right, centre, lfe, left_back, right_back, left_surround, right_surround};
      format.layout = "7.1";
      break;
    default:
      format.speakers.assign(static_cast<std::size_t>(channels), unknown);
      format.layout = std::to_string(channels) + " channels, layout unknown";
      format.layout_known = false;
  }
  return format;
}

RealSource::RealSource(StreamFormat format, std::int64_t frames, Fill fill)
    : format_(std::move(format)), frames_(frames), fill_(std::move(fill)) {}

std::int64_t RealSource::read_reals(double* interleaved, std::int64_t frames) {
  const auto n = std::min(frames, frames_ - at_);
  if (n <= 0) return 0;
  fill_(at_, n, interleaved);
  at_ += n;
  return n;
}

CodeSource::CodeSource(StreamFormat format, std::int64_t frames, Fill fill)
    : format_(std::move(format)), frames_(frames), fill_(std::move(fill)) {}

std::int64_t CodeSource::read_codes(std::int32_t* interleaved, std::int64_t frames) {
  const auto n = std::min(frames, frames_ - at_);
  if (n <= 0) return 0;
  fill_(at_, n, interleaved);
  at_ += n;
  return n;
}

}  // namespace sendworthy::audio
