#include "desk/sound.h"

#include <algorithm>
#include <bit>
#include <chrono>
#include <exception>
#include <filesystem>
#include <string_view>
#include <system_error>
#include <utility>
#include <vector>

#include <fmt/format.h>

#include "base/os.h"
#include "dsp/planar.h"

namespace sendworthy::desk {
namespace {

namespace fs = std::filesystem;

constexpr auto kLongestWait = std::chrono::seconds(120);
constexpr std::int64_t kReservedAtOnce = std::int64_t{16} << 20;
constexpr double kLookS = 1;  // of sound, between two looks whether the file is still the same

static_assert(std::endian::native == std::endian::little, "samples are served as they stand in memory");

// One block stays in the second-level cache, as those of the measuring pass do.
int block_frames(int channels) { return std::clamp(16384 / channels / dsp::kSubBlock, 4, 128) * dsp::kSubBlock; }

Answer gone() { return refusal(404, "gone", "the file is not there any more; put it back, or load the folder again"); }
Answer changed() { return refusal(409, "changed", "the file was written to meanwhile; open it again to hear what it is now"); }
Answer stopped() { return refusal(503, "ending", "the sound is not being read any more; ask for it again"); }
Answer no_room() {
  return refusal(507, "no_room", "there is no room for the decoded sound in the folder for temporary files, of whose disk 1 GiB stays free; make some room, or set TMPDIR to another folder");
}

Answer answer_to(const Error& error) {
  switch (error.code) {
    case ErrorCode::missing:
      return refusal(404, "gone", error.text);
    case ErrorCode::unreadable:
      return refusal(403, "unreadable", error.text);
    case ErrorCode::output:
      return no_room();
    default:
      return refusal(415, "no_sound", error.text);
  }
}

/// How many frames come out of it, where that is sure before they do: plain samples, counted by the bytes that are there.
std::optional<std::int64_t> sure_frames(const audio::OpenedFile& opened) {
  const auto& encoding = opened.facts.encoding;
  return encoding.starts_with("PCM ") || encoding.starts_with("float ") ? opened.source->expected_frames() : std::nullopt;
}

/// Blocks of rows out of a source.
class Blocks {
 public:
  explicit Blocks(audio::Source& source) : source_(source), format_(source.format()), frames_(block_frames(format_.channels)) {
    const auto samples = static_cast<std::size_t>(frames_) * static_cast<std::size_t>(format_.channels);
    if (format_.kind == audio::SampleKind::integer) codes_.resize(samples);
    else reals_.resize(samples);
    rows_.resize(samples);
    interleaved_.resize(samples);
  }

  /// Frames; 0 at the end. Only the last block is shorter than the others.
  int next() {
    int got = 0;
    const bool integer = format_.kind == audio::SampleKind::integer;
    while (got < frames_) {
      const auto offset = static_cast<std::size_t>(got) * static_cast<std::size_t>(format_.channels);
      const auto more = integer ? source_.read_codes(codes_.data() + offset, frames_ - got) : source_.read_reals(reals_.data() + offset, frames_ - got);
      if (more <= 0) break;
      got += static_cast<int>(more);
    }
    if (integer) dsp::split_codes(codes_.data(), got, format_.channels, rows_.data(), frames_);
    else dsp::split_reals(reals_.data(), got, format_.channels, rows_.data(), frames_);
    for (int c = 0; c < format_.channels; ++c) {
      const float* const row = rows_.data() + static_cast<std::ptrdiff_t>(c) * frames_;
      for (int n = 0; n < got; ++n) interleaved_[static_cast<std::size_t>(n * format_.channels + c)] = row[n];
    }
    return got;
  }
  [[nodiscard]] const float* rows() const { return rows_.data(); }
  [[nodiscard]] std::int64_t stride() const { return frames_; }
  [[nodiscard]] std::string_view bytes(int frames) const {
    return {reinterpret_cast<const char*>(interleaved_.data()), static_cast<std::size_t>(frames) * static_cast<std::size_t>(format_.channels) * sizeof(float)};
  }

 private:
  audio::Source& source_;
  const audio::StreamFormat format_;
  const int frames_;
  std::vector<std::int32_t> codes_;
  std::vector<double> reals_;
  std::vector<float> rows_, interleaved_;
};

}  // namespace

std::optional<std::string> Sound::mark_of(const std::string& path, const std::string& scratch) {
  const auto state = base::state_of(path);
  if (!state) return std::nullopt;
  // The time of writing can be put back by whoever wrote; that of any change is set by the system alone. Of our own files it says nothing:
  // each check links to the bytes of an upload, which is a change, too.
  const bool ours = path.starts_with(scratch + "/");
  return fmt::format("{:x}-{:x}-{:x}-{:x}-{:x}", state->device, state->number, state->bytes, state->written_ns, ours ? 0 : state->changed_ns);
}

Sound::Sound(std::string path, std::string mark, std::string folder, AskForRoom room)
    : path_(std::move(path)), mark_(std::move(mark)), folder_(std::move(folder)), room_(std::move(room)), thread_([this] { work(); }) {}

Sound::~Sound() {
  end();
  std::error_code ignored;
  fs::remove_all(folder_, ignored);
}

void Sound::stop() {
  stop_ = true;
  const std::lock_guard lock(mutex_);
  changed_.notify_all();
}

void Sound::end() {
  stop();
  std::call_once(joined_, [this] { thread_.join(); });
}

bool Sound::ended() const {
  const std::lock_guard lock(mutex_);
  return ended_;
}

bool Sound::failed() const {
  const std::lock_guard lock(mutex_);
  return trouble_.has_value();
}

void Sound::work() {
  Done done;
  try {
    done = decode();
  } catch (const std::exception&) {
    done = tl::unexpected(refusal(503, "failed", "the sound could not be read, perhaps for want of memory; try again"));
  }
  bytes_ -= unwritten_.exchange(0);
  const std::lock_guard lock(mutex_);
  if (!done) {
    // Whoever stopped it knows better why it came to nothing.
    trouble_ = stop_ ? stopped() : std::move(done.error());
    std::error_code ignored;
    fs::remove_all(folder_, ignored);
    bytes_ = 0;
  }
  ended_ = true;
  changed_.notify_all();
}

Sound::Done Sound::reserve(std::int64_t bytes) {
  if (unwritten_ >= bytes) return {};
  const auto more = std::max(bytes, kReservedAtOnce);
  switch (room_(more)) {
    case Room::limit:
      return tl::unexpected(refusal(507, "too_large", "decoded, it would not fit into what the page keeps of all sounds together, 16 GiB, which is 12 hours of stereo; it can still be checked, or heard in parts once it is cut"));
    case Room::disk:
      return tl::unexpected(no_room());
    case Room::there:
      break;
  }
  bytes_ += more;
  unwritten_ += more;
  return {};
}

Sound::Done Sound::is_unchanged() const {
  const auto mark = mark_of(path_, folder_.substr(0, folder_.rfind('/')));
  if (!mark) return tl::unexpected(gone());
  if (*mark != mark_) return tl::unexpected(changed());
  return {};
}

Sound::Done Sound::decode() {
  auto opened = audio::open_file(path_);
  if (!opened) return tl::unexpected(answer_to(opened.error()));
  if (!opened->facts.not_decoded.empty()) return tl::unexpected(refusal(415, "no_sound", opened->facts.not_decoded));
  const auto format = opened->source->format();
  const auto sure = sure_frames(*opened);
  // Samples, and what the outline makes of 64 of them.
  const std::int64_t frame_bytes = format.channels * static_cast<std::int64_t>(sizeof(float)) + 1;
  // What cannot fit is refused now, and not after gigabytes.
  if (sure) {
    if (auto ok = reserve(*sure * frame_bytes); !ok) return ok;
  }
  std::error_code error;
  fs::create_directory(folder_, error);
  auto samples = base::NewFile::make(samples_path());
  if (!samples) return tl::unexpected(no_room());
  auto outline = OutlineWriter::make(folder_, format.channels);
  if (!outline) return tl::unexpected(no_room());
  if (auto ok = is_unchanged(); !ok) return ok;
  {
    const std::lock_guard lock(mutex_);
    format_ = format;
    frames_ = sure;
    changed_.notify_all();
  }

  Weighing weighing(format);
  Blocks blocks(*opened->source);
  std::int64_t decoded = 0, looked_at = 0;
  for (;;) {
    if (stop_) return tl::unexpected(stopped());
    const int got = blocks.next();
    if (got == 0) break;
    if (auto ok = reserve(got * frame_bytes); !ok) return ok;
    if (const auto ok = samples->write(blocks.bytes(got)); !ok) return tl::unexpected(no_room());
    if (const auto ok = outline->add(blocks.rows(), blocks.stride(), got); !ok) return tl::unexpected(no_room());
    unwritten_ -= got * frame_bytes;
    weighing.add(blocks.rows(), blocks.stride(), got);
    decoded += got;
    if (static_cast<double>(decoded - looked_at) > kLookS * format.sample_rate) {
      looked_at = decoded;
      if (auto ok = is_unchanged(); !ok) return ok;
    }
    const std::lock_guard lock(mutex_);
    decoded_ = decoded;
    changed_.notify_all();
  }
  if (const auto ok = outline->finish(); !ok) return tl::unexpected(no_room());
  if (auto ok = is_unchanged(); !ok) return ok;
  if (decoded == 0) return tl::unexpected(refusal(415, "no_sound", "\"" + path_ + "\": not one frame of audio could be decoded; export the file again"));
  if (sure && decoded != *sure) return tl::unexpected(refusal(403, "unreadable", "\"" + path_ + "\" could not be read to its end; try again"));
  weighing.finish();
  auto loudness = weighing.integrated_lufs();
  const std::lock_guard lock(mutex_);
  frames_ = decoded;
  loudness_ = loudness;
  a_powers_ = weighing.a_powers();
  return {};
}

template <class Ready>
Sound::Done Sound::wait_until(std::unique_lock<std::mutex>& lock, Ready ready) const {
  const bool in_time = changed_.wait_for(lock, kLongestWait, [&] { return ended_ || stop_ || ready(); });
  if (trouble_) return tl::unexpected(*trouble_);
  if (ready()) return {};
  if (stop_) return tl::unexpected(stopped());
  if (in_time) return {};
  return tl::unexpected(refusal(503, "not_yet", "the sound is still being decoded; try again in a while"));
}

tl::expected<Sound::Head, Answer> Sound::head(bool wanted_whole) const {
  std::unique_lock lock(mutex_);
  if (auto done = wait_until(lock, [&] { return format_ && frames_ && (ended_ || !wanted_whole); }); !done) return tl::unexpected(done.error());
  return Head{*format_, *frames_, ended_, loudness_};
}

tl::expected<void, Answer> Sound::reach(std::int64_t frames) const {
  std::unique_lock lock(mutex_);
  return wait_until(lock, [&] { return decoded_ >= frames; });
}

tl::expected<Outline, Answer> Sound::outline(std::int64_t from, std::int64_t to, int columns) const {
  int channels = 0;
  std::int64_t decoded = 0;
  {
    std::unique_lock lock(mutex_);
    const auto needs = outline_needs(from, to, columns);
    if (auto done = wait_until(lock, [&] { return format_ && (decoded_ >= needs || ended_); }); !done) return tl::unexpected(done.error());
    channels = format_->channels;
    decoded = decoded_;
  }
  auto outline = read_outline(folder_, samples_path(), channels, decoded, from, to, columns);
  if (!outline) return tl::unexpected(refusal(404, "gone", outline.error().text));
  return std::move(*outline);
}

std::optional<double> Sound::a_power(double from_s, double to_s) const {
  const std::lock_guard lock(mutex_);
  return mean_power(a_powers_, from_s, to_s);
}

std::optional<audio::StreamFormat> Sound::format() const {
  const std::lock_guard lock(mutex_);
  return format_;
}

}  // namespace sendworthy::desk
