//! The engine part by part: `cargo bench --bench parts`, to see what a change does where.

mod ring;

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};

use headstall::board::{builtin, profile};
use headstall::job::reader::JobReader;
use headstall::motion::ideal::Ideal;
use headstall::motion::path::Block;
use headstall::replay::source::{Planned, Source};
use headstall::replay::stream::replay_source;
use headstall::study::watch::Watch;
use headstall::surface::skin::Wanted;

fn parts(c: &mut Criterion) {
    let job: String = ring::BEGINNING.to_string() + &(1..=10).map(ring::layer).collect::<String>();
    let board = profile::parse(builtin::text("32bit-card").unwrap(), "32bit-card", &[]).unwrap();
    let source = || Planned::new(JobReader::new(job.as_bytes()), &board);
    let kept = source().store().unwrap();
    let mut group = c.benchmark_group("parts");
    group.throughput(Throughput::Elements(job.lines().count() as u64));
    group.bench_function("read", |b| {
        b.iter(|| {
            let mut reader = JobReader::new(job.as_bytes());
            while let Some(step) = reader.next_step().unwrap() {
                black_box(step);
            }
        })
    });
    group.bench_function("read and plan", |b| {
        b.iter(|| {
            let (mut source, mut blocks) = (source(), Vec::<Block>::new());
            while source.next_line(&mut blocks).unwrap().is_some() {
                black_box(&blocks);
                blocks.clear();
            }
        })
    });
    group.bench_function("ideal", |b| {
        b.iter(|| {
            let mut ideal = Ideal::default();
            for (_, blocks) in kept.read() {
                for block in blocks {
                    ideal.push(block, ());
                }
                while let Some(settled) = ideal.pop() {
                    black_box(settled);
                }
            }
        })
    });
    let wanted = Wanted {
        walls: true,
        whole: false,
        aside: false,
    };
    let replayed = |surface: bool| {
        let mut watch = Watch::new(&board.nozzle, |_| {});
        if surface {
            watch = watch.with_surface(&board.nozzle, &wanted);
        }
        let done = replay_source(source(), &board, 0, &mut watch, 0).unwrap();
        black_box((done.totals, watch.found().seen));
    };
    group.bench_function("replay", |b| b.iter(|| replayed(false)));
    group.bench_function("replay and surface", |b| b.iter(|| replayed(true)));
    group.finish();
}

criterion_group!(benches, parts);
criterion_main!(benches);
