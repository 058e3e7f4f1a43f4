#include "audio/lossy_trip.h"

#include <fmt/format.h>
#include <sndfile.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstring>
#include <map>
#include <mutex>
#include <optional>
#include <tuple>
#include <utility>
#include <vector>

#include "audio/aac_trip.h"
#include "base/helper.h"
#include "base/os.h"
#include "base/text.h"

namespace sendworthy::audio {
namespace {

using Codec = LossyWish::Codec;

// libsndfile 1.2.0 hands a whole write on to the Vorbis encoder at once, which overruns the stack when it is long.
constexpr std::int64_t kWriteFrames = 1024;

// A coded stream in memory, bounded by who writes it: a trip is some seconds long.
struct Memory {
  std::vector<unsigned char> bytes;
  std::int64_t at = 0;
};
constexpr std::int64_t kMostBytes = 64 << 20;

Memory& memory(void* user) { return *static_cast<Memory*>(user); }

SF_VIRTUAL_IO virtual_io() {
  SF_VIRTUAL_IO io{};
  io.get_filelen = [](void* user) -> sf_count_t { return std::ssize(memory(user).bytes); };
  io.seek = [](sf_count_t offset, int whence, void* user) -> sf_count_t {
    auto& m = memory(user);
    const auto base = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? m.at : std::ssize(m.bytes);
    m.at = std::clamp<std::int64_t>(offset, -base, kMostBytes - base) + base;
    return m.at;
  };
  io.read = [](void* to, sf_count_t count, void* user) -> sf_count_t {
    auto& m = memory(user);
    const auto n = std::clamp<std::int64_t>(std::ssize(m.bytes) - m.at, 0, std::max<sf_count_t>(0, count));
    if (n > 0) std::memcpy(to, m.bytes.data() + m.at, static_cast<std::size_t>(n));
    m.at += n;
    return n;
  };
  io.write = [](const void* from, sf_count_t count, void* user) -> sf_count_t {
    auto& m = memory(user);
    if (count <= 0 || m.at + count > kMostBytes) return 0;
    // No exception may cross the library: running out of memory shows as a failed write.
    try {
      if (m.at + count > std::ssize(m.bytes)) m.bytes.resize(static_cast<std::size_t>(m.at + count));
    } catch (const std::bad_alloc&) {
      return 0;
    }
    std::memcpy(m.bytes.data() + m.at, from, static_cast<std::size_t>(count));
    m.at += count;
    return count;
  };
  io.tell = [](void* user) -> sf_count_t { return memory(user).at; };
  return io;
}

struct Close {
  void operator()(SNDFILE* file) const { sf_close(file); }
};
using File = std::unique_ptr<SNDFILE, Close>;

std::string_view name_of(Codec codec) {
  switch (codec) {
    case Codec::vorbis: return "Ogg Vorbis";
    case Codec::opus: return "Opus";
    case Codec::mp3: return "MP3";
    case Codec::aac: return "AAC";
  }
  return "";
}

int format_of(Codec codec) {
  if (codec == Codec::vorbis) return SF_FORMAT_OGG | SF_FORMAT_VORBIS;
  if (codec == Codec::opus) return SF_FORMAT_OGG | SF_FORMAT_OPUS;
  return SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III;
}

std::string library() {
  char text[64] = "";
  sf_command(nullptr, SFC_GET_LIB_VERSION, text, sizeof text);
  std::string name = text;
  std::replace(name.begin(), name.end(), '-', ' ');
  return name;
}

// How libsndfile turns its "compression level" 0 … 1 into a bit rate: Opus 256 … 6 kbit/s a channel (with 6 added once),
// MP3 from the highest of the rate to the lowest. From its sources, and held by tests of what comes out.
double opus_level(int kbit_s, int channels) { return 1 - (kbit_s - 6.0) / (250.0 * channels); }
std::pair<int, int> mp3_range(int sample_rate) {
  return sample_rate >= 32000 ? std::pair(32, 320) : sample_rate >= 16000 ? std::pair(8, 160) : std::pair(8, 64);
}
double mp3_level(int kbit_s, int sample_rate) {
  const auto [lowest, highest] = mp3_range(sample_rate);
  return static_cast<double>(highest - kbit_s) / (highest - lowest);
}

// An encoder that writes into `memory`, or nothing.
File encoder_into(Memory& into, LossyWish wish, LossyFormat format, double quality) {
  SF_INFO info{};
  info.samplerate = format.sample_rate;
  info.channels = format.channels;
  info.format = format_of(wish.codec);
  auto io = virtual_io();
  File file(sf_open_virtual(&io, SFM_WRITE, &info, &into));
  if (!file) return file;
  bool ok = true;
  if (wish.codec == Codec::vorbis) {
    ok = sf_command(file.get(), SFC_SET_VBR_ENCODING_QUALITY, &quality, sizeof quality) == SF_TRUE;
  } else {
    if (wish.codec == Codec::mp3) {
      int mode = SF_BITRATE_MODE_CONSTANT;
      sf_command(file.get(), SFC_SET_BITRATE_MODE, &mode, sizeof mode);
    }
    double level = wish.codec == Codec::opus ? opus_level(wish.kbit_s, format.channels)
                                             : mp3_level(wish.kbit_s, format.sample_rate);
    ok = sf_command(file.get(), SFC_SET_COMPRESSION_LEVEL, &level, sizeof level) == SF_TRUE;
  }
  if (!ok) file.reset();
  return file;
}

// What the Vorbis encoder itself calls the bit rate of a quality: a field of its first header (Vorbis I specification,
// 4.2.2). Nothing where it gives none.
std::optional<double> vorbis_nominal(double quality, LossyFormat format) {
  Memory stream;
  {
    const auto file = encoder_into(stream, {Codec::vorbis, 0}, format, quality);
    if (!file) return std::nullopt;
    const std::vector<float> silence(static_cast<std::size_t>(format.channels), 0.0f);
    sf_writef_float(file.get(), silence.data(), 1);
  }
  constexpr std::string_view kMark("\1vorbis", 7);
  constexpr std::ptrdiff_t kToNominal = 7 + 4 + 1 + 4 + 4;
  const auto found = std::search(stream.bytes.begin(), stream.bytes.end(), kMark.begin(), kMark.end());
  if (stream.bytes.end() - found < kToNominal + 4) return std::nullopt;
  std::uint32_t bits = 0;
  for (std::ptrdiff_t i = 0; i < 4; ++i) bits |= static_cast<std::uint32_t>(found[kToNominal + i]) << (8 * i);
  const auto nominal = static_cast<std::int32_t>(bits);
  return nominal > 0 ? std::optional(nominal / 1000.0) : std::nullopt;
}

// Above 50 kHz the encoder knows no bit rates: there the quality is taken that means this bit rate at 48 kHz.
LossyFormat vorbis_reference(LossyFormat format) { return {format.sample_rate > 50000 ? 48000 : format.sample_rate, format.channels}; }

// The quality 0 … 1 at which the encoder aims at a bit rate. The search is repeated for every file of a folder, hence kept.
Result<double> vorbis_quality(int kbit_s, LossyFormat given) {
  static std::mutex mutex;
  static std::map<std::tuple<int, int, int>, double> known;
  const auto format = vorbis_reference(given);
  const std::lock_guard lock(mutex);
  const auto key = std::tuple(kbit_s, format.sample_rate, format.channels);
  if (const auto found = known.find(key); found != known.end()) return found->second;
  double low = 0, high = 1;
  const auto least = vorbis_nominal(low, format), most = vorbis_nominal(high, format);
  if (!least || !most)
    return fail(ErrorCode::unreadable, fmt::format("this build of {} has no Ogg Vorbis encoder for {} Hz", library(), given.sample_rate));
  if (kbit_s < std::floor(*least) || kbit_s > std::ceil(*most))
    return fail(ErrorCode::unreadable,
                fmt::format("Ogg Vorbis at {} Hz with {} goes from {:.0f} to {:.0f} kb/s; name a bit rate in between",
                            given.sample_rate, given.channels == 1 ? "one channel" : "two channels", *least, *most));
  for (int i = 0; i < 12; ++i) {
    const double middle = (low + high) / 2;
    (vorbis_nominal(middle, format).value_or(0) < kbit_s ? low : high) = middle;
  }
  // A thousandth is finer than the encoder's own steps, and keeps round qualities round.
  const double quality = std::round(high * 1000) / 1000;
  known.emplace(key, quality);
  return quality;
}

// Words of the encoder about itself: the vendor text of Vorbis and Opus, the name in the MP3 stream.
std::string vendor_in(const std::vector<unsigned char>& bytes, Codec codec) {
  const std::string_view head(reinterpret_cast<const char*>(bytes.data()), std::min<std::size_t>(bytes.size(), 4096));
  constexpr std::size_t kMost = 80;
  if (codec == Codec::mp3) {
    const auto at = head.find("LAME");
    if (at == head.npos) return {};
    const auto end = head.find_first_not_of("LAME0123456789.", at);
    return base::for_terminal(head.substr(at, std::min(end, at + 16) - at));
  }
  const std::string_view mark = codec == Codec::vorbis ? std::string_view("\3vorbis", 7) : std::string_view("OpusTags");
  const auto at = head.find(mark);
  if (at == head.npos || at + mark.size() + 4 > head.size()) return {};
  std::size_t length = 0;
  for (std::size_t i = 0; i < 4; ++i) length |= static_cast<std::size_t>(static_cast<unsigned char>(head[at + mark.size() + i])) << (8 * i);
  return base::for_terminal(head.substr(at + mark.size() + 4, std::min(length, kMost)));
}

// Ogg pages (RFC 3533) without those of the headers, which end at granule position 0.
std::int64_t ogg_audio_bytes(const std::vector<unsigned char>& bytes) {
  std::int64_t sum = 0;
  for (std::size_t at = 0; at + 27 <= bytes.size();) {
    if (std::memcmp(bytes.data() + at, "OggS", 4) != 0) break;
    const auto segments = static_cast<std::size_t>(bytes[at + 26]);
    if (at + 27 + segments > bytes.size()) break;
    std::size_t length = 27 + segments;
    for (std::size_t i = 0; i < segments; ++i) length += bytes[at + 27 + i];
    const bool header = std::all_of(bytes.begin() + static_cast<std::ptrdiff_t>(at) + 6,
                                    bytes.begin() + static_cast<std::ptrdiff_t>(at) + 14, [](unsigned char b) { return b == 0; });
    if (!header) sum += static_cast<std::int64_t>(length);
    at += length;
  }
  return sum;
}

class SndfileTrip final : public LossyTrip {
 public:
  SndfileTrip(LossyWish wish, LossyFormat format, double quality) : codec_(wish.codec), format_(format) {
    file_ = encoder_into(stream_, wish, format, quality);
  }
  [[nodiscard]] bool is_open() const { return file_ != nullptr; }

  Result<void> write(const float* interleaved, std::int64_t frames) override {
    for (std::int64_t at = 0; at < frames;) {
      const auto n = std::min(kWriteFrames, frames - at);
      if (sf_writef_float(file_.get(), interleaved + at * format_.channels, n) != n)
        return fail(ErrorCode::unreadable, fmt::format("the {} encoder failed: {}", name_of(codec_), sf_strerror(file_.get())));
      at += n;
    }
    written_ += frames;
    return {};
  }

  Result<void> finish(const Sink& sink) override {
    file_.reset();
    coded_bytes_ = codec_ == Codec::mp3 ? std::ssize(stream_.bytes) : ogg_audio_bytes(stream_.bytes);
    vendor_ = vendor_in(stream_.bytes, codec_);
    stream_.at = 0;
    SF_INFO info{};
    auto io = virtual_io();
    const File decoder(sf_open_virtual(&io, SFM_READ, &info, &stream_));
    if (!decoder || info.channels != format_.channels || info.samplerate != format_.sample_rate)
      return fail(ErrorCode::unreadable, fmt::format("what the {} encoder made could not be decoded", name_of(codec_)));
    std::vector<float> piece(static_cast<std::size_t>(kWriteFrames * format_.channels));
    std::int64_t got = 0;
    while (got < written_) {
      const auto n = sf_readf_float(decoder.get(), piece.data(), std::min(kWriteFrames, written_ - got));
      if (n <= 0) break;
      sink(piece.data(), n);
      got += n;
    }
    if (got < written_)
      return fail(ErrorCode::unreadable, fmt::format("{} gave back {} frames of {}", name_of(codec_), got, written_));
    return {};
  }

  [[nodiscard]] std::int64_t coded_bytes() const override { return coded_bytes_; }
  [[nodiscard]] std::string encoder() const override {
    return vendor_.empty() ? library() : library() + ", " + vendor_;
  }

 private:
  const Codec codec_;
  const LossyFormat format_;
  Memory stream_;  // outlives file_
  File file_;
  std::int64_t written_ = 0, coded_bytes_ = 0;
  std::string vendor_;
};

tl::unexpected<Error> impossible(std::string text) { return fail(ErrorCode::unreadable, std::move(text)); }

constexpr std::array kOpusRates{8000, 12000, 16000, 24000, 48000};
constexpr std::array kMp3Rates{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000};
constexpr std::array kAacRates{8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000, 64000, 88200, 96000};

template <std::size_t n>
bool holds(const std::array<int, n>& rates, int rate) {
  return std::find(rates.begin(), rates.end(), rate) != rates.end();
}

Result<void> check_rate(LossyWish wish, LossyFormat format) {
  const auto rate = format.sample_rate;
  if (wish.codec == Codec::opus && !holds(kOpusRates, rate))
    return impossible(fmt::format("Opus takes 48000 Hz and its whole fractions, not {} Hz; check the 48 kHz version, or name "
                                  "another codec", rate));
  if (wish.codec == Codec::mp3 && !holds(kMp3Rates, rate))
    return impossible(fmt::format("MP3 takes at most 48000 Hz and not {} Hz; check the version at 44.1 or 48 kHz, or name "
                                  "another codec", rate));
  if (wish.codec == Codec::aac && !holds(kAacRates, rate))
    return impossible(fmt::format("AAC takes at most 96000 Hz and not {} Hz; check another version, or name another codec", rate));
  if (wish.codec == Codec::mp3) {
    const auto [lowest, highest] = mp3_range(rate);
    if (wish.kbit_s < lowest || wish.kbit_s > highest)
      return impossible(fmt::format("MP3 at {} Hz goes from {} to {} kb/s; name a bit rate in between", rate, lowest, highest));
  }
  if (wish.codec == Codec::opus && wish.kbit_s > 6 + 250 * format.channels)
    return impossible(fmt::format("Opus with one channel goes up to 256 kb/s; name a bit rate below that"));
  return {};
}

}  // namespace

std::string aac_coder(const std::atomic<bool>* stop) {
  const auto program = base::find_program("ffmpeg");
  if (!program) return "none";
  const auto version = known_ffmpeg_version(*program, stop);
  const auto state = base::state_of(*program);
  if (!version || !state) return "none";
  return fmt::format("{} {} {} {}", *program, *version, state->bytes, state->changed_ns);
}

Result<LossyRoute> LossyRoute::find(LossyWish wish, LossyFormat format, const std::atomic<bool>* stop) {
  if (format.channels > 2) return impossible("made for mono and stereo only; this file has more channels");
  if (const auto ok = check_rate(wish, format); !ok) return tl::unexpected(ok.error());
  LossyRoute route;
  route.wish_ = wish;
  route.format_ = format;
  route.stop_ = stop;
  if (wish.codec == Codec::vorbis) {
    const auto quality = vorbis_quality(wish.kbit_s, format);
    if (!quality) return tl::unexpected(quality.error());
    route.quality_ = *quality;
  }
  if (wish.codec == Codec::aac) {
    const auto program = base::find_program("ffmpeg");
    if (!program)
      return impossible("AAC needs the program ffmpeg, which is not in the folders of PATH; install it, or name another codec");
    const auto version = known_ffmpeg_version(*program, stop);
    if (!version) return tl::unexpected(version.error());
    route.program_ = *program;
    route.version_ = *version;
  }
  return route;
}

Result<std::unique_ptr<LossyTrip>> LossyRoute::start(std::int64_t frames) const {
  if (wish_.codec == Codec::aac) return aac_trip(program_, version_, format_, wish_.kbit_s, frames, stop_);
  auto trip = std::make_unique<SndfileTrip>(wish_, format_, quality_);
  if (!trip->is_open())
    return impossible(fmt::format("this build of {} cannot encode {} at {} Hz; name another codec", library(),
                                  name_of(wish_.codec), format_.sample_rate));
  return trip;
}

}  // namespace sendworthy::audio
