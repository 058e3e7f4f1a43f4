#include "audio/helper_source.h"

#include <fmt/format.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <utility>
#include <vector>

#include "audio/aac_trip.h"
#include "audio/speakers.h"
#include "base/helper.h"
#include "base/text.h"

namespace sendworthy::audio {
namespace {

constexpr std::string_view kRemedy = "install ffmpeg so that M4A can be decoded, or bounce a WAV";

struct Decoder {
  std::string program, version;
};

/// The one that is there, or why there is none.
Result<Decoder> find_decoder() {
  const auto program = base::find_program("ffmpeg");
  if (!program)
    return fail(ErrorCode::unreadable, fmt::format("AAC and ALAC are decoded by the program ffmpeg, which is not in the folders of PATH; {}", kRemedy));
  auto version = known_ffmpeg_version(*program, nullptr);
  if (!version) return fail(ErrorCode::unreadable, fmt::format("{}; {}", version.error().text, kRemedy));
  return Decoder{*program, *version};
}

/// What cannot be decoded here: a format, and not one frame.
class NoSource final : public Source {
 public:
  explicit NoSource(Walked walked)
      : format_(std::move(walked.format)), damage_(std::move(walked.stream_damage)), expected_(walked.expected_frames) {}
  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return expected_; }
  std::int64_t read_codes(std::int32_t*, std::int64_t) override { return 0; }
  std::int64_t read_reals(double*, std::int64_t) override { return 0; }
  const std::vector<Damage>& damage() const override { return damage_; }

 private:
  StreamFormat format_;
  std::vector<Damage> damage_;
  std::optional<std::int64_t> expected_;
};

// The first line of what it said that is a complaint about the sound. A picture track that it must not decode is none.
std::string complaint(std::string_view said) {
  while (!said.empty()) {
    const auto line = said.substr(0, said.find('\n'));
    said.remove_prefix(std::min(said.size(), line.size() + 1));
    if (line.empty() || line.find("not on whitelist") != std::string_view::npos) continue;
    // "[aac @ 0x55d0c0ffee00] ": a place in its memory, another one each time.
    const auto behind = line.starts_with('[') ? line.find("] ") : std::string_view::npos;
    constexpr std::size_t kShown = 160;
    return base::for_terminal((behind == std::string_view::npos ? line : line.substr(behind + 2)).substr(0, kShown));
  }
  return {};
}

class HelperSource final : public Source {
 public:
  HelperSource(std::unique_ptr<Bytes> bytes, base::HelperStream stream, Walked walked)
      : bytes_(std::move(bytes)),
        stream_(std::move(stream)),
        format_(std::move(walked.format)),
        damage_(std::move(walked.stream_damage)),
        declared_(walked.facts.declared_frames),
        slack_(format_.lossy ? walked.data.packet_frames : 0),
        frame_bytes_(static_cast<std::size_t>(format_.channels) * 4) {}

  const StreamFormat& format() const override { return format_; }
  std::optional<std::int64_t> expected_frames() const override { return declared_; }
  const std::vector<Damage>& damage() const override { return damage_; }

  std::int64_t read_codes(std::int32_t* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::integer) return 0;
    return read(frames, [&](std::size_t i, std::uint32_t bits) { interleaved[i] = static_cast<std::int32_t>(bits); });
  }
  std::int64_t read_reals(double* interleaved, std::int64_t frames) override {
    if (format_.kind != SampleKind::real) return 0;
    return read(frames, [&](std::size_t i, std::uint32_t bits) { interleaved[i] = static_cast<double>(std::bit_cast<float>(bits)); });
  }

 private:
  template <class Put>
  std::int64_t read(std::int64_t frames, const Put& put) {
    constexpr std::int64_t kMostFrames = 4096;
    std::int64_t done = 0;
    while (done < frames && !ended_) {
      const auto got = fill(std::min(frames - done, kMostFrames));
      const auto samples = static_cast<std::size_t>(got) * static_cast<std::size_t>(format_.channels);
      const auto first = static_cast<std::size_t>(done) * static_cast<std::size_t>(format_.channels);
      for (std::size_t i = 0; i < samples; ++i) put(first + i, be32(piece_.data() + 4 * i));
      done += got;
      if (got == 0) finish();
    }
    return done;
  }

  // The next frames into piece_; 0 at the end. Of a lossy stream, what follows the declared end within a packet fills up that
  // packet: older versions of ffmpeg hand it on, newer ones do not.
  std::int64_t fill(std::int64_t frames) {
    if (declared_ && at_ < *declared_) frames = std::min(frames, *declared_ - at_);
    if (declared_ && at_ == *declared_ && !past_end_) {
      past_end_ = true;
      const auto rest = take(slack_ + 1);
      if (rest <= slack_) return 0;
      ahead_ = std::move(piece_);
      ahead_.resize(static_cast<std::size_t>(rest) * frame_bytes_);
    }
    return count(take(frames));
  }

  std::int64_t count(std::int64_t frames) {
    at_ += frames;
    return frames;
  }

  std::int64_t take(std::int64_t frames) {
    if (!ahead_.empty()) {
      const auto bytes = std::min(ahead_.size(), static_cast<std::size_t>(frames) * frame_bytes_);
      piece_.assign(ahead_.begin(), ahead_.begin() + static_cast<std::ptrdiff_t>(bytes));
      ahead_.erase(ahead_.begin(), ahead_.begin() + static_cast<std::ptrdiff_t>(bytes));
      return static_cast<std::int64_t>(bytes / frame_bytes_);
    }
    if (!why_.empty()) return 0;
    piece_.resize(static_cast<std::size_t>(frames) * frame_bytes_);
    const auto got = stream_.read(piece_.data(), piece_.size());
    if (!got) why_ = got.error().text;
    return got ? static_cast<std::int64_t>(*got / frame_bytes_) : 0;
  }

  void finish() {
    ended_ = true;
    // What came together with an error was handed on; the error comes now.
    if (why_.empty()) {
      std::uint8_t byte = 0;
      if (const auto more = stream_.read(&byte, 1); !more) why_ = more.error().text;
    }
    const auto said = complaint(stream_.said());
    if (!why_.empty())
      damage_.push_back({"the decoder did not reach the end: " + why_, -1, at_});
    else if (!said.empty())
      damage_.push_back({"the decoder says: " + said, -1, -1});
    if (declared_ && std::abs(at_ - *declared_) > slack_)
      damage_.push_back({fmt::format("the header says {} frames, {} could be decoded", grouped(*declared_), grouped(at_)), -1, at_});
  }

  std::unique_ptr<Bytes> bytes_;
  base::HelperStream stream_;
  StreamFormat format_;
  std::vector<Damage> damage_;
  std::optional<std::int64_t> declared_;
  std::int64_t slack_;  // how far the end may be off: nothing of a lossless stream
  std::size_t frame_bytes_;
  std::vector<std::uint8_t> piece_, ahead_;  // ahead_: looked at behind the declared end, and not handed out yet
  std::string why_;
  std::int64_t at_ = 0;
  bool ended_ = false, past_end_ = false;
};

base::HelperLimits limits_for(const Walked& walked) {
  base::HelperLimits limits;
  // Twice: spectral bands that no header announces double the rate; and as much for the channels of a parametric stereo.
  const auto frames = 2 * walked.data.packets * walked.data.packet_frames;
  const auto known = std::max(frames, 2 * walked.facts.declared_frames.value_or(0)) + (std::int64_t{1} << 20);
  limits.output_bytes = static_cast<std::size_t>(known) * static_cast<std::size_t>(std::max(2, walked.format.channels)) * 4;
  limits.total_s = 600 + static_cast<double>(known) / walked.format.sample_rate;
  return limits;
}

std::vector<std::string> arguments_for(const Walked& walked) {
  // One demuxer, the codecs named, one file and no other protocol, the first sound track as it is.
  return {"-hide_banner", "-nostdin",  "-loglevel", "repeat+error", "-threads", "1",  "-protocol_whitelist", "file", "-codec_whitelist",
          "aac,alac",     "-f",        "mov",       "-i",           "file:/dev/stdin", "-map", "0:a:0",      "-vn",  "-sn",
          "-dn",          "-map_metadata", "-1",    "-c:a",         walked.format.kind == SampleKind::integer ? "pcm_s32be" : "pcm_f32be",
          "-f",           "au",        "pipe:1"};
}

struct AuHead {
  int rate = 0, channels = 0;
};

// A Sun/NeXT header: magic, offset of the samples, their bytes, encoding, rate, channels; 32 bits each. It is read so that what
// the decoder hands out need not be taken on trust.
Result<AuHead> read_head(base::HelperStream& stream) {
  std::uint8_t head[24] = {};
  const auto got = stream.read(head, sizeof head);
  if (!got) return tl::unexpected(got.error());
  const auto offset = be32(head + 4);
  const auto broken = [] { return fail(ErrorCode::unreadable, "it hands on no sound"); };
  if (*got != sizeof head || text_at(head, 4) != ".snd" || offset < 24 || offset > 4096) return broken();
  std::vector<std::uint8_t> rest(offset - 24);
  const auto more = stream.read(rest.data(), rest.size());
  if (!more || *more != rest.size()) return broken();
  const auto rate = be32(head + 16), channels = be32(head + 20);
  if (rate < 1000 || rate > static_cast<std::uint32_t>(kMaxSampleRate) || channels < 1 || channels > static_cast<std::uint32_t>(kMaxChannels))
    return fail(ErrorCode::unreadable, fmt::format("it finds {} channels at {} Hz", channels, rate));
  return AuHead{static_cast<int>(rate), static_cast<int>(channels)};
}

// Spectral band replication doubles the rate and parametric stereo the channels, and only the decoder sees them where the header
// leaves it open (ISO/IEC 14496-3, 1.6.5: implicit signalling). Anything else is a contradiction.
void follow(const AuHead& head, Walked& walked, FileFacts& facts) {
  auto& format = walked.format;
  const bool open = facts.encoding == "AAC-LC";
  const auto contradict = [&](std::string text) { facts.contradictions.push_back({std::move(text), -1, -1}); };
  if (head.channels != format.channels) {
    const bool parametric = open && format.channels == 1 && head.channels == 2;
    if (parametric) facts.encoding = "HE-AACv2";
    else contradict(fmt::format("the header says {} channels, the decoder finds {}", format.channels, head.channels));
    format.channels = head.channels;
    set_default_speakers(format);
  }
  if (head.rate != format.sample_rate) {
    const bool doubled = open && head.rate == 2 * format.sample_rate;
    if (doubled && facts.encoding == "AAC-LC") facts.encoding = "HE-AAC";
    if (!doubled) contradict(fmt::format("the header says {} Hz, the decoder finds {} Hz", format.sample_rate, head.rate));
    for (auto* frames : {&facts.declared_frames, &walked.facts.declared_frames})
      if (*frames) *frames = std::llround(static_cast<double>(**frames) * head.rate / format.sample_rate);
    if (doubled) walked.data.packet_frames *= 2;
    format.sample_rate = head.rate;
  }
}

}  // namespace

Result<std::unique_ptr<Source>> open_with_helper(std::unique_ptr<Bytes> bytes, Walked walked, FileFacts& facts) {
  const auto* file = bytes->file();
  const Result<Decoder> decoder = file == nullptr ? Result<Decoder>(fail(ErrorCode::unreadable, "what lies in memory is not handed to a decoder")) : find_decoder();
  if (!decoder) {
    facts.not_decoded = decoder.error().text;
    return std::make_unique<NoSource>(std::move(walked));
  }
  facts.decoder = decoder->version;
  const auto refuse = [&](const std::string& why) {
    return fail(ErrorCode::unrecognised, fmt::format("cannot read \"{}\": the decoder for {} refuses it ({}); export it again", facts.path,
                                                     facts.encoding, why));
  };
  auto stream = base::HelperStream::start(decoder->program, arguments_for(walked), *file, limits_for(walked));
  if (!stream) return refuse(stream.error().text);
  const auto head = read_head(*stream);
  if (!head) return refuse(head.error().text);
  follow(*head, walked, facts);
  return std::make_unique<HelperSource>(std::move(bytes), std::move(*stream), std::move(walked));
}

std::optional<std::string> decoding_helper() {
  const auto decoder = find_decoder();
  return decoder ? std::optional(decoder->version) : std::nullopt;
}

}  // namespace sendworthy::audio
