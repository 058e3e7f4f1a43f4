// The container walk over any bytes: it must end, stay within them, and describe something that can be decoded.
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "audio/bytes.h"
#include "audio/walk.h"

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* input, std::size_t size) {
  using namespace sendworthy::audio;
  MemoryBytes bytes(std::string_view(reinterpret_cast<const char*>(input), size));
  const auto walked = walk(bytes, "mix.wav");
  if (!walked) {
    require(walked.error().text.find("mix.wav") != std::string::npos);
    return 0;
  }
  const auto total = static_cast<std::int64_t>(size);
  const auto& [facts, format, data, expected, stream_damage, md5, md5_bytes] = *walked;
  require(data.offset >= 0 && data.bytes >= 0 && data.bytes <= total - data.offset);
  require(format.channels >= 1 && format.channels <= kMaxChannels);
  require(format.sample_rate >= 1 && format.sample_rate <= kMaxSampleRate);
  require(static_cast<int>(format.speakers.size()) == format.channels && !format.layout.empty());
  require(facts.walked_frames.value_or(0) >= 0 && facts.declared_frames.value_or(0) >= 0);
  require(expected.value_or(0) >= 0);
  require(facts.trailing_bytes >= 0 && facts.trailing_bytes <= total);
  require(facts.chunks.size() <= kMaxChunksListed && facts.chunks_total <= kMaxChunksWalked + 100);
  require(facts.contradictions.size() <= kMaxDamage + 1 && stream_damage.size() <= kMaxDamage + 1);
  require(facts.tags.size() <= kMaxTexts && facts.text_fields.size() <= kMaxTexts);
  for (const auto* list : {&facts.contradictions, &stream_damage}) {
    for (const auto& damage : *list)
      require(!damage.text.empty() && damage.byte_offset >= -1 && damage.byte_offset <= total);
  }
  if (data.codec == Codec::pcm || data.codec == Codec::ieee_float)
    require(data.frame_bytes == data.sample_bytes * format.channels && data.sample_bytes >= 1);
  return 0;
}
